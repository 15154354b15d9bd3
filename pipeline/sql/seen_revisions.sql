-- One row per row of revisions up to the data lock of the index clinic, by joint.
-- In: joints, revisions.
-- Out: stifle_no, revision_day, revision_reason, window_days
SELECT t.stifle_no, t.revision_day, t.revision_reason, t.window_days
FROM revisions AS t JOIN joints AS j USING (stifle_no)
WHERE coalesce(t.revision_day <= j.admin_end_day, true)
ORDER BY t.stifle_no, t.revision_day
