-- One row per stifle that luxated the other way after day 0: the first day.
-- In: luxated, seen_complications, seen_revisions.  Out: stifle_no, opposite_found
WITH found AS (
    SELECT stifle_no, day FROM luxated WHERE opposite
    UNION ALL SELECT stifle_no, detected_day FROM seen_complications
    WHERE complication_type = 'opposite_luxation' AND NOT coalesce(intraoperative, false)
        AND coalesce(detected_by <> 'owner_report', true) AND detected_day >= 1
    UNION ALL SELECT stifle_no, revision_day FROM seen_revisions
    WHERE revision_reason = 'opposite_luxation' AND revision_day >= 1
)
SELECT stifle_no, min(day) AS opposite_found FROM found GROUP BY stifle_no
