-- One row per row of complications up to the data lock of the index clinic, by joint.
-- In: complications (with admin_end_day of their joint).
-- Out: stifle_no, complication_type, detected_day, last_negative_day, intraoperative,
--     detected_by, severity_class, treatment, ssi_depth, window_days
SELECT stifle_no, complication_type, detected_day, last_negative_day, intraoperative,
    detected_by, severity_class, treatment, ssi_depth, window_days
FROM complications
WHERE stifle_no IS NOT NULL AND coalesce(detected_day <= admin_end_day, true)
ORDER BY stifle_no, detected_day
