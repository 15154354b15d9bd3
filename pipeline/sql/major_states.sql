-- One row per index stifle with a contact after day 0: major complication by treatment (Cook et al. 2010)
-- and by operation, which older papers mean by "major". Any contact counts; a death related to the
-- stifle or to anaesthesia is catastrophic, any other death competes.
-- In: joints, contacts, endings, seen_complications, seen_revisions.
-- Out: stifle_no; major_cook, major_revision, each with _day and _state
WITH found AS (
    SELECT stifle_no, detected_day AS day, treatment, severity_class FROM seen_complications
    WHERE NOT coalesce(intraoperative, false) AND detected_day >= 1
        AND severity_class IN ('major_medical', 'major_surgical', 'catastrophic')
    UNION ALL
    SELECT stifle_no, revision_day, 'revision_surgery', 'major_surgical' FROM seen_revisions
    WHERE revision_reason <> 'planned_removal' AND revision_day >= 1
),
first_days AS (
    SELECT stifle_no, min(day) AS cook_found,
        min(day) FILTER (WHERE severity_class = 'major_surgical' OR (severity_class = 'catastrophic'
            AND treatment IN ('implant_removal', 'revision_surgery', 'amputation'))) AS revision_found
    FROM found GROUP BY stifle_no
),
everything AS (
    SELECT stifle_no, revision_found, last_contact_day, least(amputation_day, death_day) AS stop_day,
        stop_of(NULL, NULL, amputation_day, death_day) AS stop_state,
        CASE WHEN death_cause IN ('stifle_related', 'anaesthesia_related')
            THEN least(cook_found, death_day) ELSE cook_found END AS cook_found
    FROM joints JOIN contacts USING (stifle_no) JOIN endings USING (stifle_no)
    LEFT JOIN first_days USING (stifle_no)
    WHERE last_contact_day >= 1
)
SELECT stifle_no,
    day_of(cook_found, stop_day, last_contact_day) AS major_cook_day,
    state_of('major_complication', cook_found, stop_day, stop_state, last_contact_day)
        AS major_cook_state,
    day_of(revision_found, stop_day, last_contact_day) AS major_revision_day,
    state_of('major_complication', revision_found, stop_day, stop_state, last_contact_day)
        AS major_revision_state
FROM everything ORDER BY stifle_no
