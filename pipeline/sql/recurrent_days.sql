-- One row per stifle and day after day 0 on which it had a complication: complications of one day
-- are one event, counted. A day after the end of follow-up, by death or amputation, is left out.
-- In: contacts, endings, seen_complications.
-- Out: stifle_no, event_no (in the order of days), start_day (the day of the event before, else 0), stop_day,
--      complications_of_day, worst_of_day (1 minor to 4 catastrophic; blank where no class is recorded)
WITH followed AS (
    SELECT stifle_no, least(last_contact_day, amputation_day, death_day) AS end_day
    FROM contacts JOIN endings USING (stifle_no)
),
days AS (
    SELECT c.stifle_no, c.detected_day AS stop_day, count(*) AS complications_of_day,
        max(CASE c.severity_class WHEN 'minor' THEN 1 WHEN 'major_medical' THEN 2
            WHEN 'major_surgical' THEN 3 WHEN 'catastrophic' THEN 4 END) AS worst_of_day
    FROM seen_complications AS c JOIN followed AS f USING (stifle_no)
    WHERE NOT coalesce(c.intraoperative, false) AND c.detected_day BETWEEN 1 AND f.end_day
    GROUP BY c.stifle_no, c.detected_day
)
SELECT stifle_no, row_number() OVER by_stifle AS event_no,
    coalesce(lag(stop_day) OVER by_stifle, 0) AS start_day, stop_day, complications_of_day, worst_of_day
FROM days WINDOW by_stifle AS (PARTITION BY stifle_no ORDER BY stop_day)
ORDER BY stifle_no, stop_day
