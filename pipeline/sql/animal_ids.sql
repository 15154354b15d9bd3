-- One row per animal of a clinic: which animal of the study it is.
-- The same link token is the same animal, at whichever clinics; without a token an animal is its own.
-- An animal of several codes goes by the first of them in order of names.
-- In: animals.  Out: animal_row, animal_no (the row of the code it goes by), joined (it has several codes)
WITH named AS (
    SELECT animal_row, nullif(trim(link_token), '') AS token FROM animals
),
shared AS (
    SELECT token FROM named WHERE token IS NOT NULL GROUP BY token HAVING count(*) > 1
),
first_codes AS (
    SELECT token, arg_min(animal_row, clinic_id || ':' || local_animal) AS animal_no
    FROM named JOIN shared USING (token) JOIN animals USING (animal_row)
    GROUP BY token
)
SELECT animal_row, coalesce(animal_no, animal_row) AS animal_no, animal_no IS NOT NULL AS joined
FROM named LEFT JOIN first_codes USING (token)
ORDER BY animal_row
