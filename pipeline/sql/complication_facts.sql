-- One row per stifle with complications: the first or last day of each kind, and how many there were.
-- Days of kinds are after day 0 and not those of the operation itself.
-- An infection of the joint without a recorded depth is deep.
-- In: seen_complications.
-- Out: stifle_no, last_complication_day, amputated_day, n_after, worst_after (1 minor to 4 catastrophic),
--      major_day, operated_day (major and treated by operation), infection_day, deep_infection_day,
--      undefined_infection_day (depth not known), tuberosity_coded_day, hardware_coded_day,
--      plate_coded_day, irritation_coded_day, removal_coded_day, reoperated_day
WITH told AS (
    SELECT stifle_no, complication_type, severity_class, treatment, detected_day,
        NOT coalesce(intraoperative, false) AND coalesce(detected_day >= 1, true) AS counts,
        CASE WHEN NOT coalesce(intraoperative, false) AND detected_day >= 1 THEN detected_day END AS day,
        complication_type IN ('surgical_site_infection', 'septic_arthritis') AS infection,
        CASE WHEN ssi_depth IS NOT NULL THEN ssi_depth <> 'superficial'
            WHEN complication_type = 'septic_arthritis' THEN true END AS deep
    FROM seen_complications
)
SELECT stifle_no, max(detected_day) AS last_complication_day,
    min(detected_day) FILTER (WHERE treatment = 'amputation') AS amputated_day,
    count(*) FILTER (WHERE counts) AS n_after,
    max(CASE severity_class WHEN 'minor' THEN 1 WHEN 'major_medical' THEN 2 WHEN 'major_surgical' THEN 3
        WHEN 'catastrophic' THEN 4 END) FILTER (WHERE counts) AS worst_after,
    min(day) FILTER (WHERE severity_class IN ('major_medical', 'major_surgical', 'catastrophic')) AS major_day,
    min(day) FILTER (WHERE severity_class = 'major_surgical' OR (severity_class = 'catastrophic'
        AND treatment IN ('implant_removal', 'revision_surgery', 'amputation'))) AS operated_day,
    min(day) FILTER (WHERE infection) AS infection_day,
    min(day) FILTER (WHERE infection AND deep) AS deep_infection_day,
    min(day) FILTER (WHERE infection AND deep IS NULL) AS undefined_infection_day,
    min(day) FILTER (WHERE complication_type IN ('tuberosity_fracture', 'tuberosity_displacement'))
        AS tuberosity_coded_day,
    min(day) FILTER (WHERE complication_type IN ('kwire_migration', 'kwire_breakage', 'wire_breakage',
        'wire_loosening')) AS hardware_coded_day,
    min(day) FILTER (WHERE complication_type = 'screw_or_plate_failure') AS plate_coded_day,
    min(day) FILTER (WHERE complication_type = 'implant_irritation') AS irritation_coded_day,
    min(day) FILTER (WHERE complication_type = 'other' AND treatment = 'implant_removal')
        AS removal_coded_day,
    min(day) FILTER (WHERE treatment IN ('implant_removal', 'revision_surgery')) AS reoperated_day
FROM told GROUP BY stifle_no
