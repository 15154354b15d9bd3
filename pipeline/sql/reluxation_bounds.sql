-- One row per stifle at risk of reluxation: the interval in which it happened, and the last palpation
-- that found none.
-- Found: after the last palpation without reluxation (or the last day the clinic looked and found
-- none, if later; 0 if never), up to the day found. Not found: after the last palpation; no right end.
-- A planned day ("6 weeks") stands for all days of its window: the left end takes its first, not
-- before 0, the right end its last, or the end of an earlier-ending finding.
-- In: reluxation_states, palpations, reluxation_findings.  Out: stifle_id, stable_day, relux_left, relux_right
WITH looked AS (
    SELECT s.stifle_id, max(p.day) AS stable_day,
        max(p.day - p.window_days) AS surely_stable_day
    FROM reluxation_states AS s JOIN palpations AS p ON p.stifle_id = s.stifle_id
        AND (p.day < s.relux_day OR (p.day = s.relux_day AND s.relux_state <> 'reluxation'))
    GROUP BY s.stifle_id
),
negative AS (
    SELECT s.stifle_id, max(f.last_negative_day) AS last_negative_day
    FROM reluxation_states AS s JOIN reluxation_findings AS f ON f.stifle_id = s.stifle_id
        AND f.day = s.relux_day AND f.by_veterinarian AND f.last_negative_day < s.relux_day
    WHERE s.relux_state = 'reluxation' GROUP BY s.stifle_id
),
found AS (
    SELECT stifle_id, min(day + window_days) AS surely_found_day
    FROM reluxation_findings WHERE by_veterinarian GROUP BY stifle_id
)
SELECT stifle_id, stable_day,
    greatest(surely_stable_day, last_negative_day, 0) AS relux_left,
    CASE WHEN relux_state = 'reluxation' THEN surely_found_day END AS relux_right
FROM reluxation_states LEFT JOIN looked USING (stifle_id) LEFT JOIN negative USING (stifle_id)
    LEFT JOIN found USING (stifle_id)
WHERE relux_state IS NOT NULL
ORDER BY stifle_id
