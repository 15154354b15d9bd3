-- One row per thing that happened to a stifle after surgery, for tables of events and their counts.
-- In: joints, seen_complications, seen_revisions, palpations.
-- Out: stifle_id, animal_id, clinic_id (of the index operation), source (complication, revision,
--      palpation, end), event, day, time_frame, severity_class, treatment, intraoperative
WITH told AS (
    SELECT stifle_id, 'complication' AS source, complication_type AS event, detected_day AS day,
        severity_class, treatment, coalesce(intraoperative, false) OR detected_day = 0 AS intraoperative
    FROM seen_complications
    UNION ALL SELECT stifle_id, 'revision', revision_reason, revision_day, NULL, NULL, false
    FROM seen_revisions
    UNION ALL SELECT stifle_id, 'palpation', 'reluxation', day, NULL, NULL, false
    FROM palpations WHERE reluxated
    UNION ALL SELECT stifle_id, 'palpation', 'opposite_luxation', day, NULL, NULL, false
    FROM palpations WHERE opposite
    UNION ALL SELECT stifle_id, 'end', end_status, end_of_followup_day, NULL, NULL, false
    FROM joints WHERE end_status IN ('died', 'euthanised', 'amputated')
        AND end_of_followup_day <= coalesce(admin_end_day, end_of_followup_day)
)
SELECT stifle_id, j.animal_id, j.clinic_id, source, event, day,
    CASE WHEN day <= 91 THEN 'perioperative' WHEN day <= 183 THEN 'short term'
        WHEN day <= 365 THEN 'mid term' WHEN day > 365 THEN 'long term' END AS time_frame,
    severity_class, treatment, coalesce(intraoperative, false) AS intraoperative
FROM told JOIN joints AS j USING (stifle_id)
ORDER BY ALL
