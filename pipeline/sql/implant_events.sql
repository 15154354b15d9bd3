-- One row per complication of the implant family after day 0: of an implant, of the tuberosity,
-- irritation over an implant, or an unplanned removal for which no complication is coded.
-- Removal because of infection is none; nor are screws and plates of the femur.
-- In: joints, seen_complications, seen_revisions, seen_implants.  Out: stifle_no, day, family
WITH coded AS (
    SELECT c.stifle_no, c.detected_day AS day, c.treatment, CASE
        WHEN complication_type IN ('tuberosity_fracture', 'tuberosity_displacement')
            THEN 'tuberosity_failure'
        WHEN complication_type IN ('kwire_migration', 'kwire_breakage', 'wire_breakage', 'wire_loosening')
            THEN 'hardware_complication'
        WHEN complication_type = 'screw_or_plate_failure' AND (coalesce(femoral_osteotomy = 'none', true)
            OR coalesce(ttt_fixation IN ('screw', 'plate'), false)) THEN 'hardware_complication'
        WHEN complication_type = 'implant_irritation' THEN 'implant_irritation'
        WHEN complication_type = 'other' AND treatment = 'implant_removal' THEN 'unplanned_removal'
        END AS family
    FROM seen_complications AS c JOIN joints USING (stifle_no)
    WHERE NOT coalesce(intraoperative, false) AND detected_day >= 1
),
explained AS (
    SELECT stifle_no, min(day) AS coded_day FROM coded
    WHERE family IS NOT NULL OR treatment IN ('implant_removal', 'revision_surgery')
    GROUP BY stifle_no
),
uncoded AS (
    SELECT stifle_no, implant_removed_day AS day, CASE implant_removal_reason
        WHEN 'irritation' THEN 'implant_irritation' WHEN 'other' THEN 'unplanned_removal'
        ELSE 'hardware_complication' END AS family
    FROM seen_implants
    WHERE implant_type IN ('k_wire', 'tension_band_wire', 'spacer_pin') AND implant_removed_day >= 1
        AND implant_removal_reason IN ('migration', 'breakage', 'irritation', 'other')
    UNION ALL
    SELECT stifle_no, revision_day, CASE revision_reason
        WHEN 'implant_irritation' THEN 'implant_irritation'
        WHEN 'tuberosity_fracture' THEN 'tuberosity_failure' ELSE 'hardware_complication' END
    FROM seen_revisions
    WHERE revision_day >= 1 AND revision_reason IN
        ('implant_migration', 'implant_breakage', 'implant_irritation', 'tuberosity_fracture')
)
SELECT stifle_no, day, family FROM coded WHERE family IS NOT NULL
UNION ALL
SELECT stifle_no, day, family FROM uncoded LEFT JOIN explained USING (stifle_no)
WHERE coalesce(coded_day > day, true)
ORDER BY ALL
