-- One row per index stifle: what is known before and at surgery, its session, first joint, data lock.
-- Of a pair operated in one session the first joint is drawn by the seed, once, by animal.
-- In: stifles, animals, procedures, clinics.  Parameter: $seed.
-- Out: every variable of the three tables; surgery_year, admin_end_day, session_type, first_joint
WITH animal AS (
    SELECT animal_id, min(death_cause) AS death_cause FROM animals GROUP BY animal_id
),
dated AS (
    SELECT s.*, coalesce(c.dates_shifted, false) AS shifted,
        CAST(coalesce(s.surgery_year, year(s.surgery_date)) AS BIGINT) AS operation_year,
        CASE WHEN coalesce(c.dates_shifted, false) THEN s.lock_day
            ELSE c.data_lock_date - s.surgery_date END AS admin_end_day,
        c.accrual_start, c.accrual_end
    FROM stifles AS s LEFT JOIN clinics AS c USING (clinic_id)
),
pairs AS (
    SELECT animal_id, count(*) AS joints, min((operation_year, surgery_date)) AS first_day,
        count(DISTINCT (operation_year, surgery_date)) AS days,
        CASE WHEN md5(concat($seed, ':', animal_id)) < '8' THEN 'left' ELSE 'right' END AS drawn_side
    FROM dated GROUP BY animal_id
)
SELECT d.* EXCLUDE (surgery_year, operation_year, row_id, file, sheet, "row", block, derived),
    d.operation_year AS surgery_year,
    CASE WHEN joints = 1 THEN 'unilateral' WHEN days = 1 THEN 'bilateral_same_session'
        ELSE 'bilateral_staged' END AS session_type,
    CASE WHEN joints = 1 THEN true WHEN days = 1 THEN side = drawn_side
        ELSE (operation_year, surgery_date) = first_day END AS first_joint,
    a.* EXCLUDE (animal_id, clinic_id, local_animal, link_token, joined, death_cause,
        row_id, file, sheet, "row", block, derived),
    coalesce(a.death_cause, animal.death_cause) AS death_cause,
    p.* EXCLUDE (stifle_id, animal_id, clinic_id, local_stifle,
        row_id, file, sheet, "row", block, derived)
FROM dated AS d
JOIN pairs USING (animal_id)
LEFT JOIN animals AS a USING (clinic_id, local_animal)
LEFT JOIN animal ON animal.animal_id = d.animal_id
LEFT JOIN procedures AS p ON p.stifle_id = d.stifle_id
ORDER BY d.stifle_id
