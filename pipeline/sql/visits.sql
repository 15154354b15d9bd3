-- One row per recheck up to the data lock of the index clinic: what was found. A referring clinic's
-- rows after it are not seen: who is seen elsewhere later would otherwise be followed longer.
-- adequate: a visit after day 0 on which a veterinarian palpated the patella.
-- reluxated: out in the direction of the original luxation; a blank direction counts as that one,
-- and either direction where the original luxation went both ways. opposite: out the other way.
-- In: joints, rechecks.
-- Out: stifle_no, day, window_days (half width of a planned day, else 0), adequate, reluxated, opposite,
--      important, healed, function_no (1 full, 2 acceptable, 3 unacceptable; after day 0)
WITH looked AS (
    SELECT r.stifle_no, r.recheck_day AS day, coalesce(r.window_days, 0) AS window_days,
        coalesce(r.recheck_mode IN ('operating_clinic', 'other_veterinarian')
            AND r.patella_grade IS NOT NULL AND r.recheck_day >= 1, false) AS adequate,
        r.patella_grade, r.patella_direction, j.luxation_direction, r.lameness_score,
        coalesce(r.osteotomy_healing = 'complete', false) AS healed,
        CASE r.function_class WHEN 'full' THEN 1 WHEN 'acceptable' THEN 2 WHEN 'unacceptable' THEN 3 END
            AS function_no
    FROM rechecks AS r JOIN joints AS j USING (stifle_no)
    WHERE coalesce(r.recheck_day <= j.admin_end_day, true)
)
SELECT stifle_no, day, window_days, adequate,
    adequate AND patella_grade >= 1 AND coalesce(patella_direction IN ('bidirectional', luxation_direction)
        OR luxation_direction = 'bidirectional', true) AS reluxated,
    adequate AND patella_grade >= 1 AND luxation_direction IN ('medial', 'lateral')
        AND coalesce(patella_direction <> luxation_direction, false) AS opposite,
    adequate AND (patella_grade >= 2 OR coalesce(lameness_score > 0, false)) AS important, healed,
    CASE WHEN day >= 1 THEN function_no END AS function_no
FROM looked
