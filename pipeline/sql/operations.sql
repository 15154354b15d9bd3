-- One row per row of stifles whose joint has several: what that operation is for the joint, and its
-- day after the index.
-- The index operation is the first patellar one on the joint that the study knows; what precedes it
-- is an earlier operation, what follows a revision, at whichever clinic. The same day twice is one
-- operation that two clinics reported. Days of shifted and unshifted dates cannot be compared:
-- then the day is blank and the joint's outcomes are held.
-- In: repeated_joints.
-- Out: stifle_row, index_row (the joint's index operation), kind (index, earlier, revision,
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
SELECT stifle_row, index_row,
    CASE WHEN index_row = stifle_row THEN 'index'
        WHEN day = 0 THEN 'reported_twice'
        WHEN before_index THEN 'earlier'
        ELSE 'revision' END AS kind,
    day
FROM dated
ORDER BY stifle_row
