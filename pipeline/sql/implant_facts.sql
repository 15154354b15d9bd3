-- One row per stifle with implants listed: the pieces that may hold the tuberosity, and what came out.
-- Screws and plates count only where they cannot belong to the femur or to a cruciate operation.
-- The reason is that of the piece taken out last; where that is not recorded it is not known.
-- In: seen_implants (with ttt_fixation, femoral_osteotomy and cruciate_procedure of their joint).
-- Out: stifle_no, last_removal_day (of any implant), n_pieces, n_out, last_out_day, last_out_reason; of
--      wires and pins, not planned, after day 0: unplanned_removal_day, hardware_removal_day,
--      irritation_removal_day
WITH listed AS (
    SELECT *, implant_type IN ('k_wire', 'tension_band_wire', 'spacer_pin') AS wire
    FROM seen_implants
),
told AS (
    SELECT *, wire OR (implant_type IN ('screw', 'plate')
            AND (coalesce(ttt_fixation IN ('screw', 'plate'), false) OR (femoral_osteotomy = 'none'
                AND coalesce(cruciate_procedure, 'none') IN ('none', 'extracapsular_suture')))) AS piece,
        CASE WHEN wire AND implant_removed_day >= 1 THEN implant_removed_day END AS wire_out_day
    FROM listed
)
SELECT stifle_no, max(implant_removed_day) AS last_removal_day,
    count(*) FILTER (WHERE piece) AS n_pieces,
    count(implant_removed_day) FILTER (WHERE piece) AS n_out,
    max(implant_removed_day) FILTER (WHERE piece) AS last_out_day,
    nullif(arg_max(coalesce(implant_removal_reason, ''), (implant_removed_day, implant_no))
        FILTER (WHERE piece AND implant_removed_day IS NOT NULL), '') AS last_out_reason,
    min(wire_out_day) FILTER (WHERE implant_removal_reason IN
        ('migration', 'breakage', 'irritation', 'other')) AS unplanned_removal_day,
    min(wire_out_day) FILTER (WHERE implant_removal_reason IN ('migration', 'breakage'))
        AS hardware_removal_day,
    min(wire_out_day) FILTER (WHERE implant_removal_reason = 'irritation') AS irritation_removal_day
FROM told GROUP BY stifle_no
