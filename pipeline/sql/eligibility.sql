-- One row per index stifle: which steps of the protocol it passes.
-- What must be true counts as failed where it is not recorded; what must not be true as passed.
-- In: joints.  Parameters: the switches of study.toml, [eligibility].
-- Out: stifle_no, a column per step (true = stays)
SELECT stifle_no,
    coalesce(list_contains($species, species), false) AS species,
    coalesce(list_contains($direction, luxation_direction), false) AS direction,
    coalesce(list_contains($grades, grade_preop), false) AS grade,
    CASE WHEN shifted THEN surgery_year BETWEEN
            coalesce(greatest(year(accrual_start), year($accrual_start::DATE)), surgery_year)
            AND coalesce(least(year(accrual_end), year($accrual_end::DATE)), surgery_year)
        ELSE surgery_date BETWEEN
            coalesce(greatest(accrual_start, $accrual_start::DATE), surgery_date)
            AND coalesce(least(accrual_end, $accrual_end::DATE), surgery_date) END AS accrual,
    coalesce(
        (list_contains($procedures, 'sulcoplasty') AND sulcoplasty_type <> 'none')
        OR (list_contains($procedures, 'ttt') AND ttt_done)
        OR (list_contains($procedures, 'femoral_osteotomy') AND femoral_osteotomy <> 'none')
        OR (list_contains($procedures, 'soft_tissue') AND (medial_release <> 'none'
            OR lateral_imbrication OR antirotational_suture)), false) AS procedure,
    NOT coalesce(list_contains($earlier_surgery, 'patellar')
        AND previous_stifle_surgery = 'patellar', false) AS first_surgery,
    NOT coalesce(
        (previous_stifle_surgery <> 'patellar' AND list_contains($earlier_surgery, previous_stifle_surgery))
        OR (list_has_any($earlier_surgery, ['cruciate', 'fracture'])
            AND aetiology = 'after_other_stifle_surgery'), false) AS other_surgery,
    NOT ($cruciate_procedure = 'out' AND coalesce(
        cruciate_procedure NOT IN ('none', 'extracapsular_suture'), false)) AS cruciate_procedure,
    $groove_replacement OR coalesce(sulcoplasty_type <> 'groove_replacement', true)
        AS groove_replacement
FROM joints
