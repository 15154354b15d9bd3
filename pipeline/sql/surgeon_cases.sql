-- One row per index stifle with such a number: its running number among the surgeon's index operations.
-- Counted from the start of accrual, whether or not a stifle passes the protocol. Operations of one
-- day share the number of the first: their order is not recorded, and none of them was behind the
-- surgeon when the day began. Shifted dates have no order between animals: no number there.
-- In: joints.  Parameter: $accrual_start of the study, or NULL.
-- Out: stifle_no, surgeon_case_in_study
SELECT stifle_no, rank() OVER (PARTITION BY clinic_id, surgeon_id ORDER BY surgery_date)
    AS surgeon_case_in_study
FROM joints
WHERE surgeon_id IS NOT NULL AND NOT shifted
    AND surgery_date >= coalesce(greatest(accrual_start, $accrual_start::DATE), surgery_date)
