-- One row per joint of several operations: the last that any clinic knows of it.
-- In: operations, repeated_joints.  Out: index_row, end_of_followup_day, end_status
WITH known AS (
    SELECT o.index_row, max(o.day + r.end_of_followup_day) AS end_of_followup_day,
        arg_max(r.end_status, (o.day + r.end_of_followup_day, r.end_status))
            FILTER (WHERE r.end_of_followup_day IS NOT NULL) AS later_status
    FROM operations AS o JOIN repeated_joints AS r ON r.stifle_row = o.stifle_row
    WHERE o.day IS NOT NULL
    GROUP BY o.index_row
)
SELECT k.index_row, k.end_of_followup_day, coalesce(k.later_status, r.end_status) AS end_status
FROM known AS k JOIN repeated_joints AS r ON r.stifle_row = k.index_row
ORDER BY k.index_row
