-- One row per row of stifles: the joint of the study it is about, and what is needed to order them.
-- patellar = something was done for the patella; false only where all of it is recorded as not done.
-- In: stifles, procedures, clinics, animal_ids.
-- Out: stifle_id, animal_id, joined, the row's own codes, operation_year, surgery_date, shifted, patellar,
--      luxation_direction, cruciate_procedure, end_of_followup_day, end_status
SELECT ids.animal_id || ':' || s.side AS stifle_id, ids.animal_id, ids.joined,
    s.clinic_id, s.local_stifle, s.row_id, s.surgery_date,
    CAST(coalesce(s.surgery_year, year(s.surgery_date)) AS BIGINT) AS operation_year,
    coalesce(c.dates_shifted, false) AS shifted,
    NOT coalesce(
        p.sulcoplasty_type = 'none' AND p.ttt_done = false AND p.femoral_osteotomy = 'none'
        AND coalesce(p.medial_release, 'none') = 'none'
        AND coalesce(p.lateral_imbrication, false) = false
        AND coalesce(p.antirotational_suture, false) = false, false) AS patellar,
    s.luxation_direction, p.cruciate_procedure, s.end_of_followup_day, s.end_status
FROM stifles AS s
JOIN animal_ids AS ids USING (clinic_id, local_animal)
LEFT JOIN procedures AS p USING (clinic_id, local_stifle)
LEFT JOIN clinics AS c USING (clinic_id)
ORDER BY s.clinic_id, s.local_stifle
