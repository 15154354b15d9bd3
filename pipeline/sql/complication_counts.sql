-- How many complications after surgery, and the worst of them.
-- In: infections.
-- Adds: n_complications, worst_severity ("none" without any; blank where the class of all of them is not
--     recorded)
SELECT *, n_after AS n_complications,
    CASE WHEN n_after = 0 THEN 'none' ELSE
        CASE worst_after WHEN 1 THEN 'minor' WHEN 2 THEN 'major_medical' WHEN 3 THEN 'major_surgical'
            WHEN 4 THEN 'catastrophic' END END AS worst_severity
FROM infections
