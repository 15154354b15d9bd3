-- The days of death and amputation, up to the data lock.
-- In: contacts.  Parameter: $death_window_days.
-- Adds: death_day, amputation_day, near_death_day, near_amputation_day (within the window after the last
--      adequate recheck), followed_day (the first of death, amputation and the last contact)
WITH told AS (
    SELECT *, CASE WHEN end_status IN ('died', 'euthanised') THEN end_of_followup_day END AS told_death,
        coalesce(CASE WHEN end_status = 'amputated' THEN end_of_followup_day END, amputated_day)
            AS told_amputation
    FROM contacts
),
known AS (
    SELECT *, CASE WHEN told_death <= coalesce(admin_end_day, told_death) THEN told_death END AS death_day,
        CASE WHEN told_amputation <= coalesce(admin_end_day, told_amputation) THEN told_amputation END
            AS amputation_day
    FROM told
)
SELECT *,
    CASE WHEN death_day <= last_adequate_day + $death_window_days THEN death_day END AS near_death_day,
    CASE WHEN amputation_day <= last_adequate_day + $death_window_days THEN amputation_day END
        AS near_amputation_day,
    least(last_contact_day, amputation_day, death_day) AS followed_day
FROM known
