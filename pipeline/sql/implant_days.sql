-- The first day of each complication of the implant family: of an implant, of the tuberosity,
-- irritation over an implant, or an unplanned removal for which no complication is coded before.
-- Removal because of infection is none; nor are screws and plates of the femur.
-- In: tuberosity_implants.
-- Adds: implant_found (any of them), tuberosity_found, hardware_found, irritation_found
WITH coded AS (
    SELECT *, least(hardware_coded_day, CASE WHEN plate_coded_day IS NOT NULL
        AND (coalesce(femoral_osteotomy = 'none', true)
            OR coalesce(ttt_fixation IN ('screw', 'plate'), false)) THEN plate_coded_day END) AS hardware_told
    FROM tuberosity_implants
),
explained AS (
    SELECT *, least(tuberosity_coded_day, hardware_told, irritation_coded_day, removal_coded_day)
            AS implant_told,
        least(tuberosity_coded_day, hardware_told, irritation_coded_day, reoperated_day) AS explained_day,
        least(hardware_removal_day, hardware_revision_day) AS hardware_undone_day,
        least(irritation_removal_day, irritation_revision_day) AS irritation_undone_day
    FROM coded
),
uncoded AS (
    SELECT *, CASE WHEN explained_day <= tuberosity_revision_day THEN NULL ELSE tuberosity_revision_day END
            AS tuberosity_told,
        CASE WHEN explained_day <= hardware_undone_day THEN NULL ELSE hardware_undone_day END AS hardware_out,
        CASE WHEN explained_day <= irritation_undone_day THEN NULL ELSE irritation_undone_day END
            AS irritation_out,
        CASE WHEN explained_day <= unplanned_removal_day THEN NULL ELSE unplanned_removal_day END
            AS removal_out
    FROM explained
)
SELECT *, least(implant_told, tuberosity_told, hardware_out, irritation_out, removal_out) AS implant_found,
    least(tuberosity_coded_day, tuberosity_told) AS tuberosity_found,
    least(hardware_told, hardware_out) AS hardware_found,
    least(irritation_coded_day, irritation_out) AS irritation_found
FROM uncoded
