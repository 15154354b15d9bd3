-- One row per animal of several codes whose clinics contradict each other: on the species, on the
-- sex, or on the day of death (two days, or something known after it).
-- In: joined_animals (animal_no and what each code was told), joined_stifles (animal_no and what is
--     known of the end).  Out: animal_no, what
WITH told AS (
    SELECT animal_no, species, split_part(sex_neuter, '_', 1) AS sex FROM joined_animals
),
ends AS (
    SELECT animal_no, surgery_date + CAST(end_of_followup_day AS INTEGER) AS last_date,
        end_status IN ('died', 'euthanised') AS dead
    FROM joined_stifles WHERE end_of_followup_day IS NOT NULL
),
deaths AS (
    SELECT animal_no FROM ends GROUP BY animal_no
    HAVING min(last_date) FILTER (WHERE dead) < max(last_date)
),
animals_told AS (
    SELECT animal_no, count(DISTINCT species) > 1 AS two_species, count(DISTINCT sex) > 1 AS two_sexes
    FROM told GROUP BY animal_no
)
SELECT animal_no, what FROM (
    SELECT animal_no, 'species' AS what FROM animals_told WHERE two_species
    UNION ALL SELECT animal_no, 'sex' FROM animals_told WHERE two_sexes
    UNION ALL SELECT animal_no, 'day of death' FROM deaths
)
ORDER BY animal_no, what
