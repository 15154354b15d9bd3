-- One row per joint: its index operation, with the last that any clinic knows of it.
-- In: stifles, operations.  Out: the index row of stifles, with stifle_id, animal_id and the last day and
--     status over all its rows
WITH known AS (
    SELECT stifle_id, max(day + end_of_followup_day) AS end_of_followup_day,
        arg_max(end_status, (day + end_of_followup_day, end_status))
            FILTER (WHERE end_of_followup_day IS NOT NULL) AS later_status
    FROM operations WHERE day IS NOT NULL GROUP BY stifle_id
)
SELECT o.stifle_id, o.animal_id, s.* EXCLUDE (end_of_followup_day, end_status),
    known.end_of_followup_day, coalesce(known.later_status, s.end_status) AS end_status
FROM operations AS o
JOIN stifles AS s ON s.row_id = o.row_id
JOIN known ON known.stifle_id = o.stifle_id
WHERE o.kind = 'index'
ORDER BY o.stifle_id
