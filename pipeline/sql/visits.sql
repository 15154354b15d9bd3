-- One row per recheck up to the data lock of the index clinic: what was found. A referring clinic's
-- rows after it are not seen: who is seen elsewhere later would otherwise be followed longer.
-- adequate: a visit after day 0 on which a veterinarian palpated the patella.
-- reluxated: out in the direction of the original luxation; a blank direction counts as that one,
-- and either direction where the original luxation went both ways. opposite: out the other way.
-- In: rechecks (with luxation_direction and admin_end_day of their joint; a blank stifle_no: no part
--     of the linked table).
-- Out: stifle_no, day, window_days (half width of a planned day, else 0), adequate, reluxated, opposite,
--      important, healed, function_no (1 full, 2 acceptable, 3 unacceptable; after day 0)
WITH looked AS (
    SELECT stifle_no, recheck_day AS day, coalesce(window_days, 0) AS window_days,
        coalesce(recheck_mode IN ('operating_clinic', 'other_veterinarian')
            AND patella_grade IS NOT NULL AND recheck_day >= 1, false) AS adequate,
        patella_grade, patella_direction, luxation_direction, lameness_score,
        coalesce(osteotomy_healing = 'complete', false) AS healed,
        CASE function_class WHEN 'full' THEN 1 WHEN 'acceptable' THEN 2 WHEN 'unacceptable' THEN 3 END
            AS function_no
    FROM rechecks WHERE stifle_no IS NOT NULL AND coalesce(recheck_day <= admin_end_day, true)
)
SELECT stifle_no, day, window_days, adequate,
    adequate AND patella_grade >= 1 AND coalesce(patella_direction IN ('bidirectional', luxation_direction)
        OR luxation_direction = 'bidirectional', true) AS reluxated,
    adequate AND patella_grade >= 1 AND luxation_direction IN ('medial', 'lateral')
        AND coalesce(patella_direction <> luxation_direction, false) AS opposite,
    adequate AND (patella_grade >= 2 OR coalesce(lameness_score > 0, false)) AS important, healed,
    CASE WHEN day >= 1 THEN function_no END AS function_no
FROM looked
