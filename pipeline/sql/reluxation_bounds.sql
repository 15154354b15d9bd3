-- One row per stifle at risk of reluxation: the interval in which it happened, and the last palpation
-- that found none.
-- Found: after the last palpation without reluxation (or the last day the clinic looked and found
-- none, if later; 0 if never), up to the day found. Not found: after the last palpation; no right end.
-- A planned day ("6 weeks") stands for all days of its window: the left end takes its first, not
-- before 0, the right end its last, or the end of an earlier-ending finding.
-- In: reluxation_states, contacts, visits, reluxation_findings.
-- Out: stifle_no, stable_day, relux_left, relux_right
WITH ended AS (
    SELECT stifle_no, relux_day, relux_state FROM reluxation_states WHERE relux_state <> 'censored'
),
looked AS (
    SELECT e.stifle_no, max(v.day) AS stable_day, max(v.day - v.window_days) AS surely_stable_day
    FROM ended AS e JOIN visits AS v ON v.stifle_no = e.stifle_no AND v.adequate
        AND (v.day < e.relux_day OR (v.day = e.relux_day AND e.relux_state <> 'reluxation'))
    GROUP BY e.stifle_no
    UNION ALL
    SELECT stifle_no, last_adequate_day, surely_adequate_day
    FROM reluxation_states JOIN contacts USING (stifle_no) WHERE relux_state = 'censored'
),
negative AS (
    SELECT e.stifle_no, max(f.last_negative_day) AS last_negative_day
    FROM ended AS e JOIN reluxation_findings AS f ON f.stifle_no = e.stifle_no
        AND f.day = e.relux_day AND f.by_veterinarian AND f.last_negative_day < e.relux_day
    WHERE e.relux_state = 'reluxation' GROUP BY e.stifle_no
),
found AS (
    SELECT stifle_no, min(day + window_days) AS surely_found_day
    FROM reluxation_findings WHERE by_veterinarian GROUP BY stifle_no
)
SELECT stifle_no, stable_day,
    greatest(surely_stable_day, last_negative_day, 0) AS relux_left,
    CASE WHEN relux_state = 'reluxation' THEN surely_found_day END AS relux_right
FROM reluxation_states LEFT JOIN looked USING (stifle_no) LEFT JOIN negative USING (stifle_no)
    LEFT JOIN found USING (stifle_no)
WHERE relux_state IS NOT NULL
ORDER BY stifle_no
