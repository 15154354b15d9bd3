-- One row per index stifle: the days of what can end its time at risk.
-- A revision ends the time at risk of reluxation if its reason changes the construct; taking out
-- migrated, broken or infected implants after recorded union does not.
-- In: joints, contacts, visits, seen_complications, seen_revisions.
-- Parameters: $changes_construct (reasons), $death_window_days.
-- Out: stifle_no, death_day, amputation_day, near_death_day, near_amputation_day (within the window
--      after the last adequate recheck), construct_day, other_construct_day (the same without
--      revisions for opposite luxation), reluxation_revision_day
WITH healed AS (
    SELECT stifle_no, min(day) AS union_day
    FROM visits SEMI JOIN seen_revisions USING (stifle_no) WHERE healed GROUP BY stifle_no
),
revised AS (
    SELECT stifle_no,
        min(revision_day) FILTER (WHERE changes) AS construct_day,
        min(revision_day) FILTER (WHERE changes AND revision_reason <> 'opposite_luxation')
            AS other_construct_day,
        min(revision_day) FILTER (WHERE revision_reason = 'reluxation') AS reluxation_revision_day
    FROM (
        SELECT stifle_no, revision_day, revision_reason,
            coalesce(list_contains($changes_construct, revision_reason), false)
            AND NOT (revision_reason IN ('implant_migration', 'implant_breakage', 'infection')
                AND coalesce(union_day <= revision_day, false)) AS changes
        FROM seen_revisions LEFT JOIN healed USING (stifle_no)
    )
    GROUP BY stifle_no
),
amputated AS (
    SELECT stifle_no, min(detected_day) AS day
    FROM seen_complications WHERE treatment = 'amputation' GROUP BY stifle_no
),
ended AS (
    SELECT stifle_no, last_adequate_day,
        CASE WHEN end_status IN ('died', 'euthanised') THEN end_of_followup_day END AS death_day,
        coalesce(CASE WHEN end_status = 'amputated' THEN end_of_followup_day END, amputated.day)
            AS amputation_day,
        coalesce(admin_end_day, 1000000) AS admin_end_day
    FROM joints JOIN contacts USING (stifle_no) LEFT JOIN amputated USING (stifle_no)
)
SELECT stifle_no,
    CASE WHEN death_day <= admin_end_day THEN death_day END AS death_day,
    CASE WHEN amputation_day <= admin_end_day THEN amputation_day END AS amputation_day,
    CASE WHEN death_day <= least(admin_end_day, last_adequate_day + $death_window_days)
        AND last_adequate_day IS NOT NULL THEN death_day END AS near_death_day,
    CASE WHEN amputation_day <= least(admin_end_day, last_adequate_day + $death_window_days)
        AND last_adequate_day IS NOT NULL THEN amputation_day END AS near_amputation_day,
    construct_day, other_construct_day, reluxation_revision_day
FROM ended LEFT JOIN revised USING (stifle_no)
ORDER BY stifle_no
