-- How many complications after surgery, and the worst of them.
-- In: infections.
-- Adds: n_complications, worst_severity (its code; "none" without any; blank where the class of all is not
--     recorded)
SELECT *, n_after AS n_complications,
    enum_code(CASE WHEN n_after = 0 THEN 'none'::worst_severity ELSE
        CASE worst_after WHEN 1 THEN 'minor'::worst_severity WHEN 2 THEN 'major_medical'::worst_severity
            WHEN 3 THEN 'major_surgical'::worst_severity WHEN 4 THEN 'catastrophic'::worst_severity END
        END) AS worst_severity
FROM infections
