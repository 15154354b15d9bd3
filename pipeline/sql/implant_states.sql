-- How and when the time at risk of an implant complication ends, for the family and for its parts, in
-- stifles with a transposed tuberosity held by an implant. Any contact counts.
-- Competing: planned removal of all implants; a revision for luxation, which replaces them, or the
-- removal of all of them for another reason; amputation; death of any cause.
-- In: implant_days.  Parameter: $shared_hardware (whether stifles with a cruciate implant are at risk too).
-- Adds (each as in ends): implant, tuberosity, hardware, irritation
WITH removed AS (
    SELECT *, CASE WHEN all_out_reason = 'planned' THEN all_out_day
            WHEN some_out THEN NULL ELSE planned_revision_day END AS planned_day,
        least(replaced_day, CASE WHEN all_out_reason = 'planned' THEN NULL ELSE all_out_day END)
            AS other_day,
        at_risk_implant AND last_contact_day >= 1 AND ($shared_hardware
            OR coalesce(cruciate_procedure IN ('none', 'extracapsular_suture'), true)) AS at_risk
    FROM implant_days
),
stopped AS (
    SELECT *, ends('censored', last_contact_day) AS contact,
        least(ends('planned_removal', planned_day), ends('revision', other_day), ended, contact)
            AS implant_stop
    FROM removed
)
SELECT *,
    CASE WHEN at_risk THEN least(ends('implant_complication', implant_found), implant_stop) END AS implant,
    CASE WHEN at_risk THEN least(ends('tuberosity_failure', tuberosity_found), implant_stop) END AS tuberosity,
    CASE WHEN at_risk THEN least(ends('hardware_complication', hardware_found), implant_stop) END AS hardware,
    CASE WHEN at_risk THEN least(ends('implant_irritation', irritation_found), implant_stop) END AS irritation
FROM stopped
