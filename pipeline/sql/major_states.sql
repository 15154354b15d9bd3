-- Major complication by treatment (Cook et al. 2010) and by operation, which older papers mean by "major",
-- in stifles with a contact after day 0. Any contact counts; a death related to the stifle or to
-- anaesthesia is catastrophic, any other death competes.
-- In: implant_states.  Adds (each as in ends): major_cook, major_revision
WITH found AS (
    SELECT *, least(operated_day, unplanned_revision_day) AS operation_found,
        least(major_day, unplanned_revision_day, CASE WHEN death_day IS NOT NULL AND death_cause IN
            ('stifle_related', 'anaesthesia_related') THEN death_day END) AS major_found,
        least(ended, contact) AS major_stop
    FROM implant_states
)
SELECT *,
    CASE WHEN last_contact_day >= 1 THEN least(ends('major_complication', major_found), major_stop) END
        AS major_cook,
    CASE WHEN last_contact_day >= 1 THEN least(ends('major_complication', operation_found), major_stop) END
        AS major_revision
FROM found
