-- One row per index stifle: when it was last palpated, and when anything was last known of it.
-- In: joints, visits, seen_complications, seen_revisions, seen_implants.
-- Parameter: $complete_from_day.
-- Out: stifle_no, last_adequate_day, surely_adequate_day (the first day of the latest window),
--      adequate_91, _183, _365 (one in days 1-91, 92-183, 184-365), complete_follow_up,
--      last_contact_day, last_function_class, last_function_day
WITH visited AS (
    SELECT stifle_no, max(day) AS last_visit, max(CASE WHEN adequate THEN day END) AS last_adequate_day,
        max(CASE WHEN adequate THEN day - window_days END) AS surely_adequate_day,
        bit_or(CASE WHEN NOT adequate THEN 0 WHEN day <= 91 THEN 1 WHEN day <= 183 THEN 2
            WHEN day <= 365 THEN 4 ELSE 0 END) AS time_frames,
        max(4 * day + function_no) AS last_function  -- the latest day, and on it the worst class
    FROM visits GROUP BY stifle_no
),
happened AS (
    SELECT stifle_no, max(day) AS last_event FROM (
        SELECT stifle_no, detected_day AS day FROM seen_complications
        UNION ALL SELECT stifle_no, revision_day FROM seen_revisions
        UNION ALL SELECT stifle_no, implant_removed_day FROM seen_implants
    ) GROUP BY stifle_no
)
SELECT stifle_no, last_adequate_day, surely_adequate_day,
    coalesce(time_frames & 1 > 0, false) AS adequate_91, coalesce(time_frames & 2 > 0, false) AS adequate_183,
    coalesce(time_frames & 4 > 0, false) AS adequate_365,
    coalesce(last_adequate_day >= $complete_from_day, false) AS complete_follow_up,
    greatest(last_visit, last_event, CASE WHEN end_of_followup_day IS NOT NULL
        THEN least(end_of_followup_day, admin_end_day) END) AS last_contact_day,
    CASE last_function % 4 WHEN 1 THEN 'full' WHEN 2 THEN 'acceptable' WHEN 3 THEN 'unacceptable' END
        AS last_function_class,
    last_function // 4 AS last_function_day
FROM joints LEFT JOIN visited USING (stifle_no) LEFT JOIN happened USING (stifle_no)
ORDER BY stifle_no
