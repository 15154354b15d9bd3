-- One row per row of revisions up to the data lock of the index clinic, by joint.
-- In: revisions (with admin_end_day of their joint).
-- Out: stifle_no, revision_day, revision_reason, window_days
SELECT stifle_no, revision_day, revision_reason, window_days
FROM revisions
WHERE coalesce(revision_day <= admin_end_day, true)
ORDER BY stifle_no, revision_day
