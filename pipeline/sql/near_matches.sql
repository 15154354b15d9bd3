-- One row per pair of stifle rows that may be one operation of one animal: no shared token, yet the
-- same species, breed, sex and side, surgery within $days days, ages within a month and weights
-- within 5 percent. One of age and weight may be unknown. Rows without a token are compared with the
-- others within blocks of species, breed, sex, side and neighbouring spans of days only, so that
-- many rows take little longer.
-- In: stifles, animals, clinics, joint_rows.  Parameter: $days.
-- Out: the codes, row_id, day, age and weight of both rows
WITH described AS (
    SELECT stifle_row, s.row_id, s.side, s.surgery_date, s.age_months, s.weight_kg, a.species,
        lower(a.breed) AS breed, split_part(a.sex_neuter, '_', 1) AS sex, j.animal_no,
        nullif(trim(a.link_token), '') IS NULL AS tokenless,
        (s.surgery_date - DATE '1970-01-01') // ($days + 1) AS span
    FROM stifles AS s JOIN joint_rows AS j USING (stifle_row) JOIN animals AS a USING (animal_row)
    JOIN clinics AS c ON c.clinic_id = s.clinic_id
    WHERE NOT coalesce(c.dates_shifted, false)
),
neighbours AS (
    SELECT * REPLACE (span + unnest([-1, 0, 1]) AS span) FROM described WHERE tokenless
),
pairs AS (
    SELECT least((a.row_id, a.stifle_row), (b.row_id, b.stifle_row))[2] AS one_row,
        greatest((a.row_id, a.stifle_row), (b.row_id, b.stifle_row))[2] AS two_row
    FROM neighbours AS a JOIN described AS b USING (species, breed, sex, side, span)
    WHERE a.animal_no <> b.animal_no AND (NOT b.tokenless OR a.row_id < b.row_id)
        AND abs(a.surgery_date - b.surgery_date) <= $days
        AND coalesce(abs(a.age_months - b.age_months) <= 1, true)
        AND coalesce(abs(a.weight_kg - b.weight_kg) <= 0.05 * greatest(a.weight_kg, b.weight_kg), true)
        AND coalesce(a.age_months - b.age_months, a.weight_kg - b.weight_kg) IS NOT NULL
),
told AS (
    SELECT stifle_row, s.row_id, s.clinic_id, s.local_animal, s.side, s.surgery_date, s.age_months,
        s.weight_kg, a.sex_neuter, a.species, lower(a.breed) AS breed
    FROM stifles AS s JOIN joint_rows USING (stifle_row) JOIN animals AS a USING (animal_row)
    WHERE stifle_row IN (SELECT one_row FROM pairs UNION SELECT two_row FROM pairs)
)
SELECT one.* EXCLUDE (stifle_row),
    two.row_id AS other_row_id, two.clinic_id AS other_clinic_id,
    two.local_animal AS other_local_animal, two.surgery_date AS other_surgery_date,
    two.age_months AS other_age_months, two.weight_kg AS other_weight_kg,
    two.sex_neuter AS other_sex_neuter
FROM pairs JOIN told AS one ON one.stifle_row = one_row JOIN told AS two ON two.stifle_row = two_row
ORDER BY one.row_id, two.row_id
