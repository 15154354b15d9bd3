-- Complications in counting form: one row per stretch of a stifle's time at risk, from the operation or
-- the complication before to the next complication, or to the end of its follow-up.
-- Follow-up ends with death, amputation or the last contact of any kind.
-- In: contacts, endings, recurrent_days.
-- Out: stifle_no, stretch (1, 2, …), start_day (excluded), stop_day (included), complication (true if the
--      stretch ends with one), complications_of_day, worst_of_day
WITH followed AS (
    SELECT stifle_no, least(last_contact_day, amputation_day, death_day) AS end_day
    FROM contacts JOIN endings USING (stifle_no)
),
last_events AS (
    SELECT stifle_no, max(stop_day) AS last_day, max(event_no) AS events
    FROM recurrent_days GROUP BY stifle_no
)
SELECT stifle_no, event_no AS stretch, start_day, stop_day, true AS complication, complications_of_day,
    worst_of_day
FROM recurrent_days
UNION ALL
SELECT stifle_no, coalesce(events, 0) + 1, coalesce(last_day, 0), end_day, false, 0, NULL
FROM followed LEFT JOIN last_events USING (stifle_no)
WHERE end_day > coalesce(last_day, 0)
ORDER BY stifle_no, stretch
