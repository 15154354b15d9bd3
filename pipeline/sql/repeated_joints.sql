-- One row per row of stifles whose joint has several: what is needed to put them in order.
-- patellar = something was done for the patella; false only where all of it is recorded as not done.
-- In: joint_rows, stifles, procedures, clinics.
-- Out: joint_no, stifle_row, the row's own codes, operation_year, surgery_date, shifted, patellar,
--      luxation_direction, cruciate_procedure, end_of_followup_day, end_status
WITH several AS (
    SELECT joint_no FROM joint_rows GROUP BY joint_no HAVING count(*) > 1
),
rows_of_them AS (
    SELECT joint_no, s.* FROM joint_rows JOIN several USING (joint_no) JOIN stifles AS s USING (stifle_row)
)
SELECT s.joint_no, s.stifle_row, s.clinic_id, s.local_stifle, s.row_id, s.surgery_date,
    CAST(coalesce(s.surgery_year, year(s.surgery_date)) AS BIGINT) AS operation_year,
    coalesce(c.dates_shifted, false) AS shifted,
    NOT coalesce(
        p.sulcoplasty_type = 'none' AND p.ttt_done = false AND p.femoral_osteotomy = 'none'
        AND coalesce(p.medial_release, 'none') = 'none'
        AND coalesce(p.lateral_imbrication, false) = false
        AND coalesce(p.antirotational_suture, false) = false, false) AS patellar,
    s.luxation_direction, p.cruciate_procedure, s.end_of_followup_day, s.end_status
FROM rows_of_them AS s
LEFT JOIN procedures AS p USING (clinic_id, local_stifle)
LEFT JOIN clinics AS c USING (clinic_id)
ORDER BY s.stifle_row
