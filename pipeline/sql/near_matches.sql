-- One row per pair of stifle rows that may be one animal: no shared token, yet the same species,
-- breed, sex, side and day of surgery, ages within a month and weights within 5 percent.
-- In: stifles, animals, clinics, animal_ids.  Out: the two rows' codes, row_id of both
WITH described AS (
    SELECT s.row_id, s.clinic_id, s.local_animal, s.side, s.surgery_date, s.age_months, s.weight_kg,
        a.species, a.breed, a.sex_neuter, ids.animal_id, nullif(trim(a.link_token), '') AS token
    FROM stifles AS s
    JOIN animals AS a USING (clinic_id, local_animal)
    JOIN animal_ids AS ids USING (clinic_id, local_animal)
    JOIN clinics AS c USING (clinic_id)
    WHERE NOT coalesce(c.dates_shifted, false)
)
SELECT one.row_id, one.clinic_id, one.local_animal, one.side,
    two.row_id AS other_row_id, two.clinic_id AS other_clinic_id, two.local_animal AS other_local_animal
FROM described AS one
JOIN described AS two USING (species, breed, sex_neuter, side, surgery_date)
WHERE one.row_id < two.row_id AND one.animal_id <> two.animal_id
    AND (one.token IS NULL OR two.token IS NULL)
    AND abs(one.age_months - two.age_months) <= 1
    AND abs(one.weight_kg - two.weight_kg) <= 0.05 * greatest(one.weight_kg, two.weight_kg)
ORDER BY one.row_id, two.row_id
