-- One row per row of stifles: the joint of the study it is about, an animal and a side.
-- In: stifles, animals, animal_ids.  Out: stifle_row, animal_row, animal_no, joined, joint_no
SELECT stifle_row, animal_row, animal_no, joined,
    2 * animal_no + CASE WHEN side = 'right' THEN 1 ELSE 0 END AS joint_no
FROM stifles JOIN animals USING (clinic_id, local_animal) JOIN animal_ids USING (animal_row)
ORDER BY stifle_row
