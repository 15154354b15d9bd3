-- Was the tuberosity transposed and held by an implant, and when and why were all of its implants out.
-- Evidence: the implants listed, else the K-wires, the band or the fixation of the operation.
-- In: reluxation_states.
-- Adds: at_risk_implant (blank where not known), some_out, all_out_day, all_out_reason
SELECT *,
    CASE WHEN NOT ttt_done THEN false
        WHEN ttt_done AND (n_pieces > 0 OR kwire_count > 0 OR tension_band_done OR ttt_fixation IN
            ('k_wire', 'k_wire_tension_band', 'screw', 'plate', 'spacer_pin', 'wire_only')) THEN true
        WHEN ttt_done AND ((kwire_count = 0 AND NOT tension_band_done)
            OR ttt_fixation IN ('none', 'suture')) THEN false END AS at_risk_implant,
    n_out > 0 AS some_out,
    CASE WHEN n_out = n_pieces THEN last_out_day END AS all_out_day,
    CASE WHEN n_out = n_pieces THEN last_out_reason END AS all_out_reason
FROM reluxation_states
