-- The least a cohort could be: one row per stifle with its first reluxation and its last adequate recheck.
-- In: stifles, rechecks, complications.
-- Out: clinic_id, local_stifle, last_adequate_day, reluxated_day, complications
WITH seen AS (
    SELECT clinic_id, local_stifle, max(recheck_day) AS last_adequate_day,
        min(recheck_day) FILTER (WHERE patella_grade >= 1) AS reluxated_day
    FROM rechecks
    WHERE recheck_mode IN ('operating_clinic', 'other_veterinarian') AND patella_grade IS NOT NULL
        AND recheck_day >= 1
    GROUP BY clinic_id, local_stifle
),
told AS (
    SELECT clinic_id, local_stifle,
        min(detected_day) FILTER (WHERE complication_type = 'reluxation') AS recorded_day,
        count(*) AS complications
    FROM complications WHERE detected_day >= 1 GROUP BY clinic_id, local_stifle
)
SELECT clinic_id, local_stifle, last_adequate_day, least(reluxated_day, recorded_day) AS reluxated_day,
    coalesce(complications, 0) AS complications
FROM stifles LEFT JOIN seen USING (clinic_id, local_stifle)
    LEFT JOIN told USING (clinic_id, local_stifle)
