-- One row per index stifle: when it was last palpated, and when anything was last known of it.
-- In: joints, palpations, known_days.
-- Parameter: $complete_from_day.
-- Out: stifle_id, last_adequate_day, adequate_91, _183, _365 (one in days 1-91, 92-183, 184-365),
--      complete_follow_up, last_contact_day
WITH palpated AS (
    SELECT stifle_id, max(day) AS last_adequate_day,
        bool_or(day BETWEEN 1 AND 91) AS adequate_91,
        bool_or(day BETWEEN 92 AND 183) AS adequate_183,
        bool_or(day BETWEEN 184 AND 365) AS adequate_365,
        bool_or(day >= $complete_from_day) AS complete_follow_up
    FROM palpations GROUP BY stifle_id
),
last_known AS (SELECT stifle_id, max(day) AS last_contact_day FROM known_days GROUP BY stifle_id)
SELECT stifle_id, last_adequate_day, coalesce(adequate_91, false) AS adequate_91,
    coalesce(adequate_183, false) AS adequate_183, coalesce(adequate_365, false) AS adequate_365,
    coalesce(complete_follow_up, false) AS complete_follow_up, last_contact_day
FROM joints LEFT JOIN palpated USING (stifle_id) LEFT JOIN last_known USING (stifle_id)
ORDER BY stifle_id
