-- One row per animal of several codes whose clinics contradict each other: on the species, on the
-- sex, or on the day of death (two days, or something known after it).
-- In: animals, animal_ids, operations.  Out: animal_id, what
WITH told AS (
    SELECT ids.animal_id, a.species, split_part(a.sex_neuter, '_', 1) AS sex
    FROM animals AS a JOIN animal_ids AS ids USING (clinic_id, local_animal) WHERE ids.joined
),
ends AS (
    SELECT animal_id, surgery_date + CAST(end_of_followup_day AS INTEGER) AS last_date,
        end_status IN ('died', 'euthanised') AS dead
    FROM operations WHERE joined AND end_of_followup_day IS NOT NULL
),
deaths AS (
    SELECT animal_id FROM ends GROUP BY animal_id
    HAVING min(last_date) FILTER (WHERE dead) < max(last_date)
),
animals_told AS (
    SELECT animal_id, count(DISTINCT species) > 1 AS two_species, count(DISTINCT sex) > 1 AS two_sexes
    FROM told GROUP BY animal_id
)
SELECT animal_id, what FROM (
    SELECT animal_id, 'species' AS what FROM animals_told WHERE two_species
    UNION ALL SELECT animal_id, 'sex' FROM animals_told WHERE two_sexes
    UNION ALL SELECT animal_id, 'day of death' FROM deaths
)
ORDER BY animal_id, what
