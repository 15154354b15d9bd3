-- The first day of each complication of the implant family: of an implant, of the tuberosity,
-- irritation over an implant, or an unplanned removal for which no complication is coded before.
-- Removal because of infection is none; nor are screws and plates of the femur.
-- In: tuberosity_implants.
-- Adds: implant_found (any of them), tuberosity_found, hardware_found, irritation_found
WITH coded AS (
    SELECT *, least(hardware_coded_day, CASE WHEN coalesce(femoral_osteotomy = 'none', true)
        OR coalesce(ttt_fixation IN ('screw', 'plate'), false) THEN plate_coded_day END) AS hardware_told
    FROM tuberosity_implants
),
explained AS (
    SELECT *, least(tuberosity_coded_day, hardware_told, irritation_coded_day, removal_coded_day)
            AS implant_told,
        coalesce(least(tuberosity_coded_day, hardware_told, irritation_coded_day, reoperated_day),
            1000000000) AS explained_day
    FROM coded
),
uncoded AS (
    SELECT *, CASE WHEN tuberosity_revision_day < explained_day THEN tuberosity_revision_day END
            AS tuberosity_told,
        CASE WHEN least(hardware_removal_day, hardware_revision_day) < explained_day
            THEN least(hardware_removal_day, hardware_revision_day) END AS hardware_out,
        CASE WHEN least(irritation_removal_day, irritation_revision_day) < explained_day
            THEN least(irritation_removal_day, irritation_revision_day) END AS irritation_out,
        CASE WHEN unplanned_removal_day < explained_day THEN unplanned_removal_day END AS removal_out
    FROM explained
)
SELECT *, least(implant_told, tuberosity_told, hardware_out, irritation_out, removal_out) AS implant_found,
    least(tuberosity_coded_day, tuberosity_told) AS tuberosity_found,
    least(hardware_told, hardware_out) AS hardware_found,
    least(irritation_coded_day, irritation_out) AS irritation_found
FROM uncoded
