-- One row per row of stifles: what that operation is for the joint, and its day after the index.
-- The index operation is the first patellar one on the joint that the study knows; what precedes it
-- is an earlier operation, what follows a revision, at whichever clinic. The same day twice is one
-- operation that two clinics reported. Days of shifted and unshifted dates cannot be compared:
-- then the day is blank and the joint's outcomes are held.
-- In: joint_rows, repeated_joints.
-- Out: joint_rows and index_row (the joint's index operation), kind (index, earlier, revision,
--      reported_twice), day
WITH index_rows AS (
    SELECT joint_no,
        arg_min(stifle_row, (NOT patellar, operation_year, surgery_date, clinic_id, local_stifle))
            AS index_row,
        count(DISTINCT shifted) > 1 AS mixed
    FROM repeated_joints GROUP BY joint_no
),
dated AS (
    SELECT r.stifle_row, i.index_row,
        (r.operation_year, r.surgery_date) < (x.operation_year, x.surgery_date) AS before_index,
        CASE WHEN i.index_row = r.stifle_row THEN 0
            WHEN NOT i.mixed THEN r.surgery_date - x.surgery_date END AS day
    FROM repeated_joints AS r
    JOIN index_rows AS i USING (joint_no)
    JOIN repeated_joints AS x ON x.stifle_row = i.index_row
)
SELECT j.*, coalesce(d.index_row, j.stifle_row) AS index_row,
    CASE WHEN coalesce(d.index_row = j.stifle_row, true) THEN 'index'
        WHEN d.day = 0 THEN 'reported_twice'
        WHEN d.before_index THEN 'earlier'
        ELSE 'revision' END AS kind,
    CASE WHEN d.stifle_row IS NULL THEN 0 ELSE d.day END AS day
FROM joint_rows AS j LEFT JOIN dated AS d ON d.stifle_row = j.stifle_row
ORDER BY j.stifle_row
