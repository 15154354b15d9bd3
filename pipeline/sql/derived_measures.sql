-- One row per index stifle: what follows from its own measures.
-- The osteotomy ratio is the mean over blinded raters of the immediate postoperative image, each
-- rater's readings averaged first; without such readings the surgeon's own measures.
-- In: joints, measurements.
-- Out: stifle_no, log_weight_kg, weight_band, osteotomy_ratio, osteotomy_ratio_raters (0: the surgeon's),
--     kwire_depth_ratio, groove_gain_mm
WITH read_values AS (
    SELECT stifle_no, rater_id, measure, avg(CAST(value AS DECIMAL(18, 6))) AS value
    FROM measurements
    WHERE measure IN ('osteotomy_depth_mm', 'tibial_depth_mm') AND rater_blinded
        AND time_point = 'immediate_postoperative'
    GROUP BY stifle_no, rater_id, measure
),
rated AS (
    SELECT stifle_no, avg(CAST(o.value / t.value AS DECIMAL(18, 12))) AS rated_ratio,
        count(*) AS raters
    FROM read_values AS o JOIN read_values AS t USING (stifle_no, rater_id)
    WHERE o.measure = 'osteotomy_depth_mm' AND t.measure = 'tibial_depth_mm' AND t.value > 0
    GROUP BY stifle_no
)
SELECT stifle_no, ln(weight_kg) AS log_weight_kg,
    CASE WHEN weight_kg < 5 THEN 'under 5' WHEN weight_kg < 10 THEN '5 to 9.9'
        WHEN weight_kg < 20 THEN '10 to 19.9' WHEN weight_kg >= 20 THEN '20 and over' END AS weight_band,
    coalesce(rated_ratio, osteotomy_depth_mm / nullif(tibial_depth_mm, 0)) AS osteotomy_ratio,
    CASE WHEN rated_ratio IS NOT NULL THEN raters
        WHEN osteotomy_depth_mm / nullif(tibial_depth_mm, 0) IS NOT NULL THEN 0 END
        AS osteotomy_ratio_raters,
    kwire_count * kwire_diameter_mm / nullif(osteotomy_depth_mm, 0) AS kwire_depth_ratio,
    groove_depth_post_mm - groove_depth_pre_mm AS groove_gain_mm
FROM joints LEFT JOIN rated USING (stifle_no)
ORDER BY stifle_no
