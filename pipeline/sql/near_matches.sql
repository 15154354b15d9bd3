-- One row per pair of stifle rows that may be one operation of one animal: no shared token, yet the
-- same species, breed, sex and side, surgery within $days days, ages within a month and weights
-- within 5 percent. One of age and weight may be unknown. Rows are compared within blocks of species,
-- breed, sex, side and neighbouring spans of days only, so that many rows take little longer.
-- In: stifles, animals, clinics, animal_ids.  Parameter: $days.
-- Out: the codes, row_id, day, age and weight of both rows
WITH described AS (
    SELECT s.row_id, s.clinic_id, s.local_animal, s.side, s.surgery_date, s.age_months, s.weight_kg,
        a.species, lower(a.breed) AS breed, split_part(a.sex_neuter, '_', 1) AS sex, a.sex_neuter,
        ids.animal_id, nullif(trim(a.link_token), '') AS token,
        (s.surgery_date - DATE '1970-01-01') // ($days + 1) AS span
    FROM stifles AS s
    JOIN animals AS a USING (clinic_id, local_animal)
    JOIN animal_ids AS ids USING (clinic_id, local_animal)
    JOIN clinics AS c USING (clinic_id)
    WHERE NOT coalesce(c.dates_shifted, false)
),
neighbours AS (
    SELECT * REPLACE (span + unnest([-1, 0, 1]) AS span) FROM described
)
SELECT one.row_id, one.clinic_id, one.local_animal, one.side, one.surgery_date, one.age_months,
    one.weight_kg, one.sex_neuter, one.species, one.breed,
    two.row_id AS other_row_id, two.clinic_id AS other_clinic_id,
    two.local_animal AS other_local_animal, two.surgery_date AS other_surgery_date,
    two.age_months AS other_age_months, two.weight_kg AS other_weight_kg,
    two.sex_neuter AS other_sex_neuter
FROM described AS one
JOIN neighbours AS two USING (species, breed, sex, side, span)
WHERE one.row_id < two.row_id AND one.animal_id <> two.animal_id
    AND (one.token IS NULL OR two.token IS NULL)
    AND abs(one.surgery_date - two.surgery_date) <= $days
    AND coalesce(abs(one.age_months - two.age_months) <= 1, true)
    AND coalesce(abs(one.weight_kg - two.weight_kg)
        <= 0.05 * greatest(one.weight_kg, two.weight_kg), true)
    AND coalesce(one.age_months - two.age_months, one.weight_kg - two.weight_kg) IS NOT NULL
ORDER BY one.row_id, two.row_id
