-- One row per index stifle: its running number among the surgeon's index operations in the study.
-- Counted from the start of accrual, whether or not a stifle passes the protocol. Operations of one
-- day share the number of the first: their order is not recorded, and none of them was behind the
-- surgeon when the day began. Shifted dates have no order between animals: no number there.
-- In: joints.  Parameter: $accrual_start of the study, or NULL.
-- Out: stifle_no, surgeon_case_in_study
WITH dated AS (
    SELECT stifle_no, clinic_id, surgeon_id, surgery_date,
        coalesce(surgeon_id IS NOT NULL AND NOT shifted AND surgery_date
            >= coalesce(greatest(accrual_start, $accrual_start::DATE), surgery_date), false) AS counted
    FROM joints
)
SELECT stifle_no,
    CASE WHEN counted THEN rank() OVER (
        PARTITION BY counted, clinic_id, surgeon_id ORDER BY surgery_date) END AS surgeon_case_in_study
FROM dated
ORDER BY stifle_no
