-- One row per index stifle: was the tuberosity transposed and held by an implant, and when and why
-- were all of its implants out again.
-- The reason is that of the piece taken out last; where that is not recorded it is not known.
-- Evidence: the implants listed, else the K-wires, the band or the fixation of the operation. Screws
-- and plates count only where they cannot belong to the femur or to a cruciate operation.
-- In: joints, seen_implants.  Out: stifle_no, at_risk_implant (blank where not known), n_removed,
--     all_removed_day, last_removal_reason
WITH pieces AS (
    SELECT i.stifle_no, i.implant_removed_day, i.implant_removal_reason, i.implant_no
    FROM seen_implants AS i JOIN joints AS j USING (stifle_no)
    WHERE i.implant_type IN ('k_wire', 'tension_band_wire', 'spacer_pin')
        OR (i.implant_type IN ('screw', 'plate') AND (coalesce(j.ttt_fixation IN ('screw', 'plate'), false)
            OR (j.femoral_osteotomy = 'none'
                AND coalesce(j.cruciate_procedure, 'none') IN ('none', 'extracapsular_suture'))))
),
counted AS (
    SELECT stifle_no, count(*) AS n_pieces, count(implant_removed_day) AS n_removed,
        max(implant_removed_day) AS last_removed_day,
        nullif(arg_max(coalesce(implant_removal_reason, ''), (implant_removed_day, implant_no))
            FILTER (WHERE implant_removed_day IS NOT NULL), '') AS last_reason
    FROM pieces GROUP BY stifle_no
)
SELECT stifle_no,
    CASE WHEN NOT ttt_done THEN false
        WHEN ttt_done AND (n_pieces > 0 OR kwire_count > 0 OR tension_band_done OR ttt_fixation IN
            ('k_wire', 'k_wire_tension_band', 'screw', 'plate', 'spacer_pin', 'wire_only')) THEN true
        WHEN ttt_done AND ((kwire_count = 0 AND NOT tension_band_done)
            OR ttt_fixation IN ('none', 'suture')) THEN false END AS at_risk_implant,
    coalesce(n_removed, 0) AS n_removed,
    CASE WHEN n_removed = n_pieces THEN last_removed_day END AS all_removed_day,
    CASE WHEN n_removed = n_pieces THEN last_reason END AS last_removal_reason
FROM joints LEFT JOIN counted USING (stifle_no)
ORDER BY stifle_no
