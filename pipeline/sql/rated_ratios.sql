-- One row per stifle with images read: the osteotomy ratio as the mean over blinded raters of the
-- immediate postoperative image, each rater's readings averaged first.
-- In: measurements.  Out: stifle_no, rated_ratio, raters
WITH read_values AS (
    SELECT stifle_no, rater_id, measure, avg(CAST(value AS DECIMAL(18, 6))) AS value
    FROM measurements
    WHERE stifle_no IS NOT NULL AND measure IN ('osteotomy_depth_mm', 'tibial_depth_mm')
        AND rater_blinded AND time_point = 'immediate_postoperative'
    GROUP BY stifle_no, rater_id, measure
)
SELECT stifle_no, avg(CAST(o.value / t.value AS DECIMAL(18, 12))) AS rated_ratio,
    count(*) AS raters
FROM read_values AS o JOIN read_values AS t USING (stifle_no, rater_id)
WHERE o.measure = 'osteotomy_depth_mm' AND t.measure = 'tibial_depth_mm' AND t.value > 0
GROUP BY stifle_no
