-- One row per row of complications up to the data lock of the index clinic, by joint.
-- In: joints, complications.
-- Out: stifle_no, complication_type, detected_day, last_negative_day, intraoperative,
--     detected_by, severity_class, treatment, ssi_depth, window_days
SELECT t.stifle_no, t.complication_type, t.detected_day, t.last_negative_day, t.intraoperative,
    t.detected_by, t.severity_class, t.treatment, t.ssi_depth, t.window_days
FROM complications AS t JOIN joints AS j USING (stifle_no)
WHERE coalesce(t.detected_day <= j.admin_end_day, true)
ORDER BY t.stifle_no, t.detected_day
