-- Infection of the surgical site within 30, 90 and 365 days.
-- Superficial counts within 30 days; deep or in the joint within 30, and with an implant left in
-- place within 90 (or, by the older rule, 365). No infection: a contact late enough, or death first.
-- Between 30 days and the window an infection of unknown depth leaves the answer unknown.
-- In: major_states.  Parameter: $window_days.  Adds: ssi_30, ssi_90, ssi_365
WITH judged AS (
    SELECT *, infection_day <= 30 AS within_30,
        CASE WHEN infection_day IS NOT NULL THEN at_risk_implant OR n_pieces IS NOT NULL
            OR femoral_osteotomy <> 'none' OR sulcoplasty_type = 'groove_replacement'
            OR cruciate_procedure <> 'none' END AS with_implant
    FROM major_states
)
SELECT *,
    CASE WHEN within_30 THEN true
        WHEN last_contact_day >= 30 OR stop_day <= 30 THEN false END AS ssi_30,
    CASE WHEN within_30 OR (with_implant AND deep_infection_day <= 90) THEN true
        WHEN with_implant AND undefined_infection_day <= 90 THEN NULL
        WHEN last_contact_day >= 90 - least($window_days, 60) OR stop_day <= 90 THEN false END AS ssi_90,
    CASE WHEN within_30 OR (with_implant AND deep_infection_day <= 365) THEN true
        WHEN with_implant AND undefined_infection_day <= 365 THEN NULL
        WHEN last_contact_day >= 365 - $window_days OR stop_day <= 365 THEN false END AS ssi_365
FROM judged
