-- One row per stifle with later operations: the first or last day of each kind.
-- A revision ends the time at risk of reluxation if its reason changes the construct; taking out
-- migrated, broken or infected implants after recorded union does not.
-- In: seen_revisions (with union_day, the first day on which union was recorded).
-- Parameter: $changes_construct (reasons).
-- Out: stifle_no, last_revision_day, construct_day, other_construct_day (the same without revisions for
--      opposite luxation), reluxation_revision_day, replaced_day (for luxation either way),
--      planned_revision_day; after day 0: unplanned_revision_day, hardware_revision_day,
--      irritation_revision_day, tuberosity_revision_day
WITH told AS (
    SELECT stifle_no, revision_day, revision_reason,
        CASE WHEN revision_day >= 1 THEN revision_day END AS later_day,
        coalesce(list_contains($changes_construct, revision_reason), false)
            AND NOT (revision_reason IN ('implant_migration', 'implant_breakage', 'infection')
                AND coalesce(union_day <= revision_day, false)) AS changes
    FROM seen_revisions
)
SELECT stifle_no, max(revision_day) AS last_revision_day,
    min(revision_day) FILTER (WHERE changes) AS construct_day,
    min(revision_day) FILTER (WHERE changes AND revision_reason <> 'opposite_luxation')
        AS other_construct_day,
    min(revision_day) FILTER (WHERE revision_reason = 'reluxation') AS reluxation_revision_day,
    min(revision_day) FILTER (WHERE revision_reason IN ('reluxation', 'opposite_luxation')) AS replaced_day,
    min(revision_day) FILTER (WHERE revision_reason = 'planned_removal') AS planned_revision_day,
    min(later_day) FILTER (WHERE revision_reason <> 'planned_removal') AS unplanned_revision_day,
    min(later_day) FILTER (WHERE revision_reason IN ('implant_migration', 'implant_breakage'))
        AS hardware_revision_day,
    min(later_day) FILTER (WHERE revision_reason = 'implant_irritation') AS irritation_revision_day,
    min(later_day) FILTER (WHERE revision_reason = 'tuberosity_fracture') AS tuberosity_revision_day
FROM told GROUP BY stifle_no
