-- One row per later operation on a joint: the revisions as reported, and operations that a clinic
-- sent as a new case though the joint had been operated before. Two reports of one day are one.
-- A new case with the patella out in the first direction is a revision for reluxation.
-- In: operations, followed_revisions (revisions with stifle_id and days from the index operation).
-- Out: stifle_id, animal_id, clinic_id, revision_day, revision_reason, row_id, derived,
--      window_days (blank if one report has the day itself)
WITH reported AS (
    SELECT stifle_id, animal_id, clinic_id, revision_day, revision_reason, row_id, derived,
        window_days, 0 AS place
    FROM followed_revisions
),
sent_as_new AS (
    SELECT stifle_id, animal_id, clinic_id, day AS revision_day,
        CASE WHEN NOT patellar AND coalesce(cruciate_procedure, 'none') <> 'none'
                THEN 'cruciate_rupture_later'
            WHEN NOT patellar THEN 'other'
            WHEN luxation_direction IN ('medial', 'lateral') AND index_direction IN ('medial', 'lateral')
                AND luxation_direction <> index_direction THEN 'opposite_luxation'
            ELSE 'reluxation' END AS revision_reason,
        row_id, true AS derived, NULL AS window_days, 1 AS place
    FROM operations WHERE kind = 'revision'
),
together AS (SELECT * FROM reported UNION ALL SELECT * FROM sent_as_new)
SELECT stifle_id, animal_id, revision_day,
    arg_min(clinic_id, (place, row_id)) AS clinic_id,
    arg_min(revision_reason, (revision_reason IS NULL, place, row_id)) AS revision_reason,
    arg_min(row_id, (place, row_id)) AS row_id,
    bool_and(derived) AS derived,
    CASE WHEN count(window_days) = count(*) THEN min(window_days) END AS window_days
FROM together
GROUP BY stifle_id, animal_id, revision_day
ORDER BY stifle_id, revision_day
