-- One row per stifle with a finding: the first day of each kind of reluxation. A finding at or
-- before a revision for reluxation is one that led to it.
-- In: reluxation_findings.  Out: stifle_no, any_day, possible_day, important_day, revised_day
WITH operated AS (
    SELECT stifle_no, max(day) AS last_revision FROM reluxation_findings WHERE revised
    GROUP BY stifle_no
)
SELECT stifle_no,
    min(day) FILTER (WHERE by_veterinarian) AS any_day,
    min(day) AS possible_day,
    min(day) FILTER (WHERE by_veterinarian AND (important OR day <= last_revision)) AS important_day,
    min(day) FILTER (WHERE by_veterinarian AND day <= last_revision) AS revised_day
FROM reluxation_findings LEFT JOIN operated USING (stifle_no)
GROUP BY stifle_no
