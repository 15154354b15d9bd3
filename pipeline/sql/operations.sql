-- One row per row of stifles: what that operation is for the joint, and its day after the index.
-- The index operation is the first patellar one on the joint that the study knows; what precedes it
-- is an earlier operation, what follows a revision, at whichever clinic. The same day twice is one
-- operation that two clinics reported. Days of shifted and unshifted dates cannot be compared:
-- then the day is blank and the joint's outcomes are held.
-- In: joint_rows.  Out: joint_rows and kind (index, earlier, revision, reported_twice), day,
--     index_clinic_id, index_direction
WITH index_rows AS (
    SELECT stifle_id,
        arg_min(row_id, (NOT patellar, operation_year, surgery_date, clinic_id, local_stifle)) AS row_id,
        count(DISTINCT shifted) > 1 AS mixed
    FROM joint_rows GROUP BY stifle_id
),
dated AS (
    SELECT j.*, i.row_id = j.row_id AS is_index, x.clinic_id AS index_clinic_id,
        x.luxation_direction AS index_direction,
        (j.operation_year, j.surgery_date) < (x.operation_year, x.surgery_date) AS before_index,
        CASE WHEN i.row_id = j.row_id THEN 0
            WHEN NOT i.mixed THEN j.surgery_date - x.surgery_date END AS day
    FROM joint_rows AS j
    JOIN index_rows AS i USING (stifle_id)
    JOIN joint_rows AS x ON x.row_id = i.row_id
)
SELECT * EXCLUDE (is_index, before_index),
    CASE WHEN is_index THEN 'index'
        WHEN day = 0 THEN 'reported_twice'
        WHEN before_index THEN 'earlier'
        ELSE 'revision' END AS kind
FROM dated
ORDER BY stifle_id, clinic_id, local_stifle
