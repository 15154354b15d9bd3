-- One row per index stifle: its session, whether it is the animal's first joint, and the data lock.
-- Of a pair operated in one session the first joint is drawn by the seed, once, by animal.
-- In: stifles (with what is known of their clinic; first_year, last_year, first_date and last_date of
--     the animal's operations, blank for an animal with one joint).  Parameter: $seed.
-- Out: stifle_no, surgery_year, session_type (its code), first_joint, admin_end_day, shifted, accrual_start,
--      accrual_end
SELECT stifle_no, surgery_year,
    enum_code(CASE WHEN first_year IS NULL THEN 'unilateral'::session_type
        WHEN first_year = last_year AND first_date = last_date THEN 'bilateral_same_session'::session_type
        ELSE 'bilateral_staged'::session_type END) AS session_type,
    CASE WHEN first_year IS NULL THEN true
        WHEN first_year < last_year THEN surgery_year = first_year
        WHEN first_date < last_date THEN surgery_date = first_date
        ELSE side = CASE WHEN md5(concat($seed, ':', animal_id)) < '8' THEN 'left' ELSE 'right' END
        END AS first_joint,
    CASE WHEN coalesce(dates_shifted, false) THEN lock_day
        ELSE data_lock_date - surgery_date END AS admin_end_day,
    coalesce(dates_shifted, false) AS shifted, accrual_start, accrual_end
FROM stifles
