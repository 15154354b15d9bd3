-- One row per index stifle: its session, whether it is the animal's first joint, and the data lock.
-- Of a pair operated in one session the first joint is drawn by the seed, once, by animal.
-- In: stifles, animals, clinics.  Parameter: $seed.
-- Out: surgery_year, session_type, first_joint, admin_end_day, shifted, accrual_start,
--      accrual_end, death_cause (told under any code of the animal)
WITH dead AS (
    SELECT animal_no, min(death_cause) AS death_cause FROM animals
    WHERE death_cause IS NOT NULL GROUP BY animal_no
),
dated AS (
    SELECT stifle_no, animal_no, side, surgery_date, accrual_start, accrual_end,
        coalesce(dates_shifted, false) AS shifted,
        CAST(coalesce(surgery_year, year(surgery_date)) AS BIGINT) AS surgery_year,
        CASE WHEN coalesce(dates_shifted, false) THEN lock_day
            ELSE data_lock_date - surgery_date END AS admin_end_day,
        animal_id
    FROM stifles LEFT JOIN clinics USING (clinic_id)
),
pairs AS (
    SELECT animal_no, min(surgery_year) AS first_year, max(surgery_year) AS last_year,
        min(surgery_date) AS first_date, max(surgery_date) AS last_date
    FROM dated GROUP BY animal_no HAVING count(*) > 1
)
SELECT surgery_year,
    CASE WHEN first_year IS NULL THEN 'unilateral'
        WHEN first_year = last_year AND first_date = last_date THEN 'bilateral_same_session'
        ELSE 'bilateral_staged' END AS session_type,
    CASE WHEN first_year IS NULL THEN true
        WHEN first_year < last_year THEN surgery_year = first_year
        WHEN first_date < last_date THEN surgery_date = first_date
        ELSE side = CASE WHEN md5(concat($seed, ':', animal_id)) < '8' THEN 'left' ELSE 'right' END
        END AS first_joint,
    admin_end_day, shifted, accrual_start, accrual_end, death_cause
FROM dated LEFT JOIN pairs USING (animal_no) LEFT JOIN dead USING (animal_no)
ORDER BY stifle_no
