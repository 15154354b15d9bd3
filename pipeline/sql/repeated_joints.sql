-- One row per row of stifles whose joint has several: what is needed to put them in order.
-- patellar = something was done for the patella; false only where all of it is recorded as not done.
-- In: several_stifles (rows of stifles with stifle_row and joint_no), several_procedures (their rows
--     of procedures, with stifle_row), clinics.
-- Out: joint_no, stifle_row, the row's own codes, operation_year, surgery_date, shifted, patellar,
--      luxation_direction, cruciate_procedure, end_of_followup_day, end_status
SELECT s.joint_no, s.stifle_row, s.clinic_id, s.local_stifle, s.row_id, s.surgery_date,
    CAST(coalesce(s.surgery_year, year(s.surgery_date)) AS BIGINT) AS operation_year,
    coalesce(c.dates_shifted, false) AS shifted,
    NOT coalesce(
        p.sulcoplasty_type = 'none' AND p.ttt_done = false AND p.femoral_osteotomy = 'none'
        AND coalesce(p.medial_release, 'none') = 'none'
        AND coalesce(p.lateral_imbrication, false) = false
        AND coalesce(p.antirotational_suture, false) = false, false) AS patellar,
    s.luxation_direction, p.cruciate_procedure, s.end_of_followup_day, s.end_status
FROM several_stifles AS s
LEFT JOIN several_procedures AS p USING (stifle_row)
LEFT JOIN clinics AS c ON c.clinic_id = s.clinic_id
ORDER BY s.stifle_row
