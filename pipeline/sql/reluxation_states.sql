-- How and when a stifle's time at risk of reluxation ends, by each definition.
-- At risk is a stifle that was palpated, or in which a veterinarian found a reluxation; it is free
-- of reluxation until the last palpation. Nothing is held here.
-- In: endings.
-- Adds (each as in ends): relux, relux_all_deaths (deaths count however late), relux_possible,
--      relux_important, relux_revised, opposite
WITH stopped AS (
    SELECT *, ends('censored', last_adequate_day) AS palpated,
        ends('censored', greatest(last_adequate_day, any_day)) AS last_seen,
        CASE WHEN last_adequate_day IS NOT NULL OR any_day IS NOT NULL
            THEN ends('other_revision', construct_day) END AS construct
    FROM endings
),
named AS (
    SELECT *, least(construct, near_ended) AS stop, ends('reluxation', any_day) AS any_found,
        CASE WHEN last_seen IS NOT NULL THEN least(construct, ended) END AS late_stop,
        least(ends('other_revision', least(other_construct_day, reluxation_revision_day)), near_ended,
            last_seen) AS other_stop
    FROM stopped
)
SELECT *,
    least(any_found, stop, palpated) AS relux,
    least(any_found, late_stop, palpated) AS relux_all_deaths,
    least(ends('reluxation', possible_day), stop, palpated) AS relux_possible,
    least(ends('reluxation', important_day), stop, last_seen) AS relux_important,
    least(ends('reluxation', revised_day), stop, last_seen) AS relux_revised,
    CASE WHEN luxation_direction <> 'bidirectional' AND last_seen IS NOT NULL
        THEN least(ends('opposite_luxation', opposite_found), other_stop) END AS opposite
FROM named
