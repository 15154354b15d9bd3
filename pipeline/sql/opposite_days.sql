-- One row per stifle that luxated the other way after day 0: the first day. Where the original
-- luxation went both ways there is no other way.
-- In: joints, visits, seen_complications, seen_revisions.  Out: stifle_no, opposite_found
WITH found AS (
    SELECT stifle_no, day FROM visits WHERE opposite
    UNION ALL SELECT stifle_no, detected_day FROM seen_complications
    WHERE complication_type = 'opposite_luxation' AND NOT coalesce(intraoperative, false)
        AND coalesce(detected_by <> 'owner_report', true) AND detected_day >= 1
    UNION ALL SELECT stifle_no, revision_day FROM seen_revisions
    WHERE revision_reason = 'opposite_luxation' AND revision_day >= 1
)
SELECT stifle_no, min(day) AS opposite_found
FROM found JOIN joints USING (stifle_no)
WHERE coalesce(luxation_direction <> 'bidirectional', true)
GROUP BY stifle_no ORDER BY stifle_no
