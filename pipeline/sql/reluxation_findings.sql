-- One row per time that a luxation in the original direction was found after day 0: on palpation,
-- recorded as a complication, or as the reason of a revision. An owner's report alone is possible
-- reluxation: by_veterinarian is false.
-- In: luxated (visits on which the patella was out), seen_complications, seen_revisions.
-- Out: stifle_no, day, window_days, by_veterinarian, important, revised, last_negative_day
SELECT stifle_no, day, window_days, true AS by_veterinarian, important, false AS revised,
    CAST(NULL AS BIGINT) AS last_negative_day
FROM luxated WHERE reluxated
UNION ALL
SELECT stifle_no, detected_day, coalesce(window_days, 0), coalesce(detected_by <> 'owner_report', true),
    coalesce(treatment = 'revision_surgery', false), coalesce(treatment = 'revision_surgery', false),
    last_negative_day
FROM seen_complications
WHERE complication_type = 'reluxation' AND NOT coalesce(intraoperative, false) AND detected_day >= 1
UNION ALL
SELECT stifle_no, revision_day, coalesce(window_days, 0), true, true, true, NULL
FROM seen_revisions WHERE revision_reason = 'reluxation' AND revision_day >= 1
