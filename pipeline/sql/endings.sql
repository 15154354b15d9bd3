-- The days of death and amputation, up to the data lock.
-- In: contacts.  Parameter: $death_window_days.
-- Adds: death_day, amputation_day, stop_day (the first of both), followed_day (that, or the last contact if
--      before); ended (as in ends) and near_ended (the same within the window after the last adequate recheck)
WITH told AS (
    SELECT *, CASE WHEN end_status IN ('died', 'euthanised') THEN end_of_followup_day END AS told_death,
        coalesce(CASE WHEN end_status = 'amputated' THEN end_of_followup_day END, amputated_day)
            AS told_amputation
    FROM contacts
),
known AS (
    SELECT *, CASE WHEN told_death > admin_end_day THEN NULL ELSE told_death END AS death_day,
        CASE WHEN told_amputation > admin_end_day THEN NULL ELSE told_amputation END AS amputation_day
    FROM told
),
stopped AS (
    SELECT *, least(amputation_day, death_day) AS stop_day,
        least(ends('amputation', amputation_day), ends('death', death_day)) AS ended
    FROM known
)
SELECT *, least(last_contact_day, stop_day) AS followed_day,
    CASE WHEN stop_day <= last_adequate_day + $death_window_days THEN ended END AS near_ended
FROM stopped
