-- What of the technique is as is usual (common practice, no source).
-- Blank where an item does not apply to the operation or is not recorded; no item scores a surgeon.
-- In: derived_measures.
-- Adds: hole_distance_ratio (hole over the wires' distance, both from the end of the osteotomy),
--     usual_osteotomy_depth (a quarter to 0.42 of the tibia), usual_bridge, usual_wires (two, beside or
--     below each other), usual_wire_level, usual_band, usual_hole (within a third of the wires' distance),
--     usual_pattern, usual_crossing (of a figure of eight), usual_twists
WITH held AS (
    SELECT *, ttt_done AND ttt_fixation IN ('k_wire', 'k_wire_tension_band') AS pinned,
        ttt_done AND tension_band_done AS banded
    FROM derived_measures
)
SELECT *, CASE WHEN banded THEN tb_hole_distance_mm / nullif(kwire_distance_mm, 0) END
        AS hole_distance_ratio,
    CASE WHEN ttt_done THEN osteotomy_ratio BETWEEN 0.25 AND 0.42 END AS usual_osteotomy_depth,
    CASE WHEN ttt_done THEN distal_bridge = 'intact' END AS usual_bridge,
    CASE WHEN pinned THEN kwire_count = 2
        AND coalesce(kwire_arrangement IN ('side_by_side', 'proximodistal'), true) END AS usual_wires,
    CASE WHEN pinned THEN kwire_level = 'proximal_to_insertion' END AS usual_wire_level,
    CASE WHEN pinned THEN tension_band_done END AS usual_band,
    CASE WHEN banded THEN abs(tb_hole_distance_mm - kwire_distance_mm) <= kwire_distance_mm / 3 END
        AS usual_hole,
    CASE WHEN banded THEN tb_pattern = 'figure_of_eight' END AS usual_pattern,
    CASE WHEN banded AND coalesce(tb_pattern = 'figure_of_eight', true)
        THEN tb_crossing = 'over_tuberosity' END AS usual_crossing,
    CASE WHEN banded THEN tb_twists = 2 END AS usual_twists
FROM held
