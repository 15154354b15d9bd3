-- One row per index stifle: infection of the surgical site within 30, 90 and 365 days.
-- Superficial counts within 30 days; deep or in the joint within 30, and with an implant left in
-- place within 90 (or, by the older rule, 365). No infection: a contact late enough, or death first.
-- Between 30 days and the window an infection of unknown depth leaves the answer unknown.
-- In: joints, contacts, endings, tuberosity_implants, seen_implants, seen_complications.
-- Parameter: $window_days.  Out: stifle_no, ssi_30, ssi_90, ssi_365
WITH infected AS (
    SELECT stifle_no, detected_day AS day, CASE WHEN ssi_depth IS NOT NULL THEN ssi_depth <> 'superficial'
        WHEN complication_type = 'septic_arthritis' THEN true END AS deep
    FROM seen_complications
    WHERE complication_type IN ('surgical_site_infection', 'septic_arthritis')
        AND NOT coalesce(intraoperative, false) AND detected_day >= 1
),
with_implant AS (
    SELECT stifle_no FROM tuberosity_implants WHERE at_risk_implant
    UNION SELECT stifle_no FROM seen_implants
    UNION SELECT stifle_no FROM joints WHERE femoral_osteotomy <> 'none'
        OR sulcoplasty_type = 'groove_replacement' OR cruciate_procedure <> 'none'
),
judged AS (
    SELECT i.stifle_no,
        bool_or(day <= 30) AS within_30,
        bool_or(day <= 90 AND deep AND w.stifle_no IS NOT NULL) AS deep_90,
        bool_or(day <= 365 AND deep AND w.stifle_no IS NOT NULL) AS deep_365,
        bool_or(day <= 90 AND deep IS NULL AND w.stifle_no IS NOT NULL) AS unknown_90,
        bool_or(day <= 365 AND deep IS NULL AND w.stifle_no IS NOT NULL) AS unknown_365
    FROM infected AS i LEFT JOIN with_implant AS w ON w.stifle_no = i.stifle_no
    GROUP BY i.stifle_no
),
everything AS (
    SELECT stifle_no, coalesce(within_30, false) AS within_30, coalesce(deep_90, false) AS deep_90,
        coalesce(deep_365, false) AS deep_365, coalesce(unknown_90, false) AS unknown_90,
        coalesce(unknown_365, false) AS unknown_365, last_contact_day,
        least(death_day, amputation_day) AS stop_day
    FROM joints JOIN contacts USING (stifle_no) JOIN endings USING (stifle_no)
    LEFT JOIN judged USING (stifle_no)
)
SELECT stifle_no,
    CASE WHEN within_30 THEN true
        WHEN last_contact_day >= 30 OR stop_day <= 30 THEN false END AS ssi_30,
    CASE WHEN within_30 OR deep_90 THEN true WHEN unknown_90 THEN NULL
        WHEN last_contact_day >= 90 - least($window_days, 60) OR stop_day <= 90 THEN false END AS ssi_90,
    CASE WHEN within_30 OR deep_365 THEN true WHEN unknown_365 THEN NULL
        WHEN last_contact_day >= 365 - $window_days OR stop_day <= 365 THEN false END AS ssi_365
FROM everything ORDER BY stifle_no
