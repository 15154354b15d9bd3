-- One row per animal of a clinic: which animal of the study it is.
-- The same link token is the same animal, at whichever clinics; without a token an animal is its own.
-- In: animals.  Out: clinic_id, local_animal, animal_id, joined (the animal has several codes)
WITH named AS (
    SELECT clinic_id, local_animal, nullif(trim(link_token), '') AS token,
        clinic_id || ':' || local_animal AS own_id
    FROM animals
),
tokens AS (
    SELECT token, min(own_id) AS animal_id, count(*) AS codes
    FROM named WHERE token IS NOT NULL GROUP BY token
)
SELECT clinic_id, local_animal, coalesce(animal_id, own_id) AS animal_id,
    coalesce(codes > 1, false) AS joined
FROM named LEFT JOIN tokens USING (token)
ORDER BY clinic_id, local_animal
