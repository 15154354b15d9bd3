-- One row per implant as at the data lock of the index clinic: what was taken out later was still in.
-- In: implants (with admin_end_day of their joint).  Out: stifle_no, implant_type, implant_no, implant_removed_day,
--     implant_removal_reason
SELECT i.stifle_no, i.implant_type, i.implant_no,
    CASE WHEN seen THEN i.implant_removed_day END AS implant_removed_day,
    CASE WHEN seen THEN i.implant_removal_reason END AS implant_removal_reason
FROM (
    SELECT *, coalesce(implant_removed_day <= admin_end_day, true) AS seen FROM implants
    WHERE stifle_no IS NOT NULL
) AS i
ORDER BY i.stifle_no, i.implant_no, i.implant_removed_day, i.implant_type
