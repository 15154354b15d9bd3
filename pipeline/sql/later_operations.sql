-- One row per later operation on a joint: the revisions as reported, and operations that a clinic
-- sent as a new case though the joint had been operated before. Two reports of one day are one.
-- A new case with the patella out in the first direction is a revision for reluxation.
-- In: operations, repeated_joints, followed_revisions (revisions with index_row and days from the
--     index operation).
-- Out: index_row, clinic_id, revision_day, revision_reason, row_id, derived,
--      window_days (blank if one report has the day itself)
WITH reported AS (
    SELECT index_row, clinic_id, revision_day, revision_reason, row_id, derived, window_days, 0 AS place
    FROM followed_revisions
),
sent_as_new AS (
    SELECT o.index_row, r.clinic_id, o.day AS revision_day,
        CASE WHEN NOT r.patellar AND coalesce(r.cruciate_procedure, 'none') <> 'none'
                THEN 'cruciate_rupture_later'
            WHEN NOT r.patellar THEN 'other'
            WHEN r.luxation_direction IN ('medial', 'lateral')
                AND x.luxation_direction IN ('medial', 'lateral')
                AND r.luxation_direction <> x.luxation_direction THEN 'opposite_luxation'
            ELSE 'reluxation' END AS revision_reason,
        r.row_id, true AS derived, NULL AS window_days, 1 AS place
    FROM operations AS o JOIN repeated_joints AS r USING (stifle_row)
    JOIN repeated_joints AS x ON x.stifle_row = o.index_row
    WHERE o.kind = 'revision'
),
together AS (SELECT * FROM reported UNION ALL SELECT * FROM sent_as_new)
SELECT index_row, revision_day,
    arg_min(clinic_id, (place, row_id)) AS clinic_id,
    arg_min(revision_reason, (revision_reason IS NULL, place, row_id)) AS revision_reason,
    arg_min(row_id, (place, row_id)) AS row_id,
    bool_and(derived) AS derived,
    CASE WHEN count(window_days) = count(*) THEN min(window_days) END AS window_days
FROM together
GROUP BY index_row, revision_day
ORDER BY index_row, revision_day
