-- One row per adequate recheck: a visit after day 0 on which a veterinarian palpated the patella.
-- reluxated: out in the direction of the original luxation; a blank direction counts as that one,
-- and either direction where the original luxation went both ways. opposite: out the other way.
-- In: joints, seen_rechecks.
-- Out: stifle_id, day, window_days (half width of a planned day, else 0), reluxated, opposite, important
SELECT r.stifle_id, r.recheck_day AS day, coalesce(r.window_days, 0) AS window_days,
    r.patella_grade >= 1 AND coalesce(r.patella_direction IN ('bidirectional', j.luxation_direction)
        OR j.luxation_direction = 'bidirectional', true) AS reluxated,
    r.patella_grade >= 1 AND j.luxation_direction IN ('medial', 'lateral')
        AND coalesce(r.patella_direction <> j.luxation_direction, false) AS opposite,
    r.patella_grade >= 2 OR coalesce(r.lameness_score > 0, false) AS important
FROM seen_rechecks AS r JOIN joints AS j USING (stifle_id)
WHERE r.recheck_mode IN ('operating_clinic', 'other_veterinarian')
    AND r.patella_grade IS NOT NULL AND r.recheck_day >= 1
ORDER BY ALL
