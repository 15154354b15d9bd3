-- One row per stifle with a transposed tuberosity held by an implant: how and when its time at risk
-- of an implant complication ends, for the family and for its parts. Any contact counts.
-- Competing: planned removal of all implants; a revision for luxation, which replaces them, or the
-- removal of all of them for another reason; amputation; death of any cause.
-- In: joints, contacts, endings, tuberosity_implants, implant_events, seen_revisions.
-- Parameter: $shared_hardware (whether stifles with a cruciate implant are at risk too).
-- Out: stifle_no; implant, tuberosity, hardware, irritation, each with _day and _state
WITH first_days AS (
    SELECT stifle_no, min(day) AS any_found,
        min(day) FILTER (WHERE family = 'tuberosity_failure') AS tuberosity_found,
        min(day) FILTER (WHERE family = 'hardware_complication') AS hardware_found,
        min(day) FILTER (WHERE family = 'implant_irritation') AS irritation_found
    FROM implant_events GROUP BY stifle_no
),
revised AS (
    SELECT stifle_no,
        min(revision_day) FILTER (WHERE revision_reason IN ('reluxation', 'opposite_luxation'))
            AS replaced_day,
        min(revision_day) FILTER (WHERE revision_reason = 'planned_removal') AS planned_day
    FROM seen_revisions GROUP BY stifle_no
),
stopped AS (
    SELECT stifle_no, any_found, tuberosity_found, hardware_found, irritation_found,
        amputation_day, death_day, last_contact_day,
        CASE WHEN last_removal_reason = 'planned' THEN all_removed_day
            WHEN n_removed = 0 THEN planned_day END AS planned_day,
        least(replaced_day, CASE WHEN coalesce(last_removal_reason <> 'planned', true)
            THEN all_removed_day END) AS replaced_day
    FROM joints JOIN tuberosity_implants USING (stifle_no) JOIN contacts USING (stifle_no)
    JOIN endings USING (stifle_no)
    LEFT JOIN first_days USING (stifle_no) LEFT JOIN revised USING (stifle_no)
    WHERE at_risk_implant AND last_contact_day >= 1 AND ($shared_hardware
        OR coalesce(cruciate_procedure IN ('none', 'extracapsular_suture'), true))
),
named AS (
    SELECT *, least(planned_day, replaced_day, amputation_day, death_day) AS stop_day,
        stop_of(CASE WHEN planned_day <= least(planned_day, replaced_day) THEN 'planned_removal'
            ELSE 'revision' END, least(planned_day, replaced_day), amputation_day, death_day) AS stop_state
    FROM stopped
)
SELECT stifle_no,
    day_of(any_found, stop_day, last_contact_day) AS implant_day,
    state_of('implant_complication', any_found, stop_day, stop_state, last_contact_day)
        AS implant_state,
    day_of(tuberosity_found, stop_day, last_contact_day) AS tuberosity_day,
    state_of('tuberosity_failure', tuberosity_found, stop_day, stop_state, last_contact_day)
        AS tuberosity_state,
    day_of(hardware_found, stop_day, last_contact_day) AS hardware_day,
    state_of('hardware_complication', hardware_found, stop_day, stop_state, last_contact_day)
        AS hardware_state,
    day_of(irritation_found, stop_day, last_contact_day) AS irritation_day,
    state_of('implant_irritation', irritation_found, stop_day, stop_state, last_contact_day)
        AS irritation_state
FROM named ORDER BY stifle_no
