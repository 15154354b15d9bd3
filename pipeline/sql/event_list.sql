-- One row per thing that happened to a stifle after surgery, for tables of events and their counts.
-- In: joints, seen_complications, seen_revisions, visits.
-- Out: stifle_no, source (complication, revision,
--      palpation, end), event, day, time_frame, severity_class, treatment, intraoperative
WITH told AS (
    SELECT stifle_no, 'complication' AS source, complication_type AS event, detected_day AS day,
        severity_class, treatment, coalesce(intraoperative, false) OR detected_day = 0 AS intraoperative
    FROM seen_complications
    UNION ALL SELECT stifle_no, 'revision', revision_reason, revision_day, NULL, NULL, false
    FROM seen_revisions
    UNION ALL SELECT stifle_no, 'palpation', 'reluxation', day, NULL, NULL, false
    FROM visits WHERE reluxated
    UNION ALL SELECT stifle_no, 'palpation', 'opposite_luxation', day, NULL, NULL, false
    FROM visits WHERE opposite
    UNION ALL SELECT stifle_no, 'end', end_status, end_of_followup_day, NULL, NULL, false
    FROM joints WHERE end_status IN ('died', 'euthanised', 'amputated')
        AND end_of_followup_day <= coalesce(admin_end_day, end_of_followup_day)
)
SELECT stifle_no, source, event, day,
    CASE WHEN day <= 91 THEN 'perioperative' WHEN day <= 183 THEN 'short term'
        WHEN day <= 365 THEN 'mid term' WHEN day > 365 THEN 'long term' END AS time_frame,
    severity_class, treatment, coalesce(intraoperative, false) AS intraoperative
FROM told
ORDER BY ALL
