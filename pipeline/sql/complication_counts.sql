-- One row per index stifle: how many complications after surgery, and the worst of them.
-- In: joints, seen_complications.  Out: stifle_no, n_complications, worst_severity ("none" without any;
--     blank where the class of all of them is not recorded)
WITH counted AS (
    SELECT stifle_no, count(*) AS n_complications,
        max(CASE severity_class WHEN 'minor' THEN 1 WHEN 'major_medical' THEN 2
            WHEN 'major_surgical' THEN 3 WHEN 'catastrophic' THEN 4 END) AS worst
    FROM seen_complications
    WHERE NOT coalesce(intraoperative, false) AND coalesce(detected_day >= 1, true)
    GROUP BY stifle_no
)
SELECT stifle_no, coalesce(n_complications, 0) AS n_complications,
    CASE WHEN n_complications IS NULL THEN 'none' ELSE
        CASE worst WHEN 1 THEN 'minor' WHEN 2 THEN 'major_medical' WHEN 3 THEN 'major_surgical'
            WHEN 4 THEN 'catastrophic' END END AS worst_severity
FROM joints LEFT JOIN counted USING (stifle_no)
ORDER BY stifle_no
