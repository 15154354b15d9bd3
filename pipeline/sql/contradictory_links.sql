-- One row per animal of several codes whose clinics contradict each other: on the species, on the
-- sex, or on the day of death (two days, or something known after it).
-- In: animals, animal_ids, stifles, operations.  Out: animal_no, what
WITH told AS (
    SELECT ids.animal_no, a.species, split_part(a.sex_neuter, '_', 1) AS sex
    FROM animal_ids AS ids JOIN animals AS a USING (animal_row) WHERE ids.joined
),
ends AS (
    SELECT o.animal_no, s.surgery_date + CAST(s.end_of_followup_day AS INTEGER) AS last_date,
        s.end_status IN ('died', 'euthanised') AS dead
    FROM operations AS o JOIN stifles AS s USING (stifle_row)
    WHERE o.joined AND s.end_of_followup_day IS NOT NULL
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
