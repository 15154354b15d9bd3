-- What follows from a stifle's own measures.
-- The osteotomy ratio is that of the blinded raters (rated_ratios); without it the surgeon's own measures.
-- In: complication_counts.
-- Adds: log_weight_kg, weight_band (its code), osteotomy_ratio, osteotomy_ratio_raters (0: the surgeon's),
--     kwire_depth_ratio, groove_gain_mm
SELECT *, ln(weight_kg) AS log_weight_kg,
    enum_code(CASE WHEN weight_kg < 5 THEN 'under 5'::weight_band
        WHEN weight_kg < 10 THEN '5 to 9.9'::weight_band
        WHEN weight_kg < 20 THEN '10 to 19.9'::weight_band
        WHEN weight_kg >= 20 THEN '20 and over'::weight_band END) AS weight_band,
    coalesce(rated_ratio, osteotomy_depth_mm / nullif(tibial_depth_mm, 0)) AS osteotomy_ratio,
    CASE WHEN rated_ratio IS NOT NULL THEN raters
        WHEN osteotomy_depth_mm / nullif(tibial_depth_mm, 0) IS NOT NULL THEN 0 END
        AS osteotomy_ratio_raters,
    kwire_count * kwire_diameter_mm / nullif(osteotomy_depth_mm, 0) AS kwire_depth_ratio,
    groove_depth_post_mm - groove_depth_pre_mm AS groove_gain_mm
FROM complication_counts
