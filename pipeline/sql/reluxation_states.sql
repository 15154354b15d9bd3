-- One row per index stifle: how and when its time at risk of reluxation ends, by each definition.
-- At risk is a stifle that was palpated, or in which a veterinarian found a reluxation; it is free
-- of reluxation until the last palpation. Nothing is held here.
-- In: joints, contacts, reluxation_days, opposite_days, endings.
-- Out: stifle_no; relux, relux_possible, relux_important, relux_revised and opposite, each with _day and
--      _state; relux_day_all_deaths and relux_state_all_deaths (deaths count however late)
WITH everything AS (
    SELECT stifle_no, any_day, possible_day, important_day, revised_day, last_adequate_day,
        CASE WHEN at_risk THEN construct_day END AS construct_day,
        CASE WHEN at_risk THEN amputation_day END AS amputation_day,
        CASE WHEN at_risk THEN death_day END AS death_day,
        near_amputation_day, near_death_day,
        least(other_construct_day, reluxation_revision_day) AS revision_day,
        luxation_direction <> 'bidirectional' AND at_risk AS has_other_way, opposite_found,
        CASE WHEN at_risk THEN greatest(last_adequate_day, any_day) END AS last_seen
    FROM (
        SELECT *, last_adequate_day IS NOT NULL OR any_day IS NOT NULL AS at_risk
        FROM joints JOIN contacts USING (stifle_no) JOIN endings USING (stifle_no)
        LEFT JOIN reluxation_days USING (stifle_no) LEFT JOIN opposite_days USING (stifle_no)
    )
),
stopped AS (
    SELECT *, least(construct_day, near_amputation_day, near_death_day) AS stop_day,
        stop_of('other_revision', construct_day, near_amputation_day, near_death_day) AS stop_state,
        least(construct_day, amputation_day, death_day) AS late_day,
        stop_of('other_revision', construct_day, amputation_day, death_day) AS late_state,
        least(revision_day, near_amputation_day, near_death_day) AS other_day,
        stop_of('other_revision', revision_day, near_amputation_day, near_death_day) AS other_state
    FROM everything
)
SELECT stifle_no,
    day_of(any_day, stop_day, last_adequate_day) AS relux_day,
    state_of('reluxation', any_day, stop_day, stop_state, last_adequate_day) AS relux_state,
    day_of(any_day, late_day, last_adequate_day) AS relux_day_all_deaths,
    state_of('reluxation', any_day, late_day, late_state, last_adequate_day)
        AS relux_state_all_deaths,
    day_of(possible_day, stop_day, last_adequate_day) AS relux_possible_day,
    state_of('reluxation', possible_day, stop_day, stop_state, last_adequate_day)
        AS relux_possible_state,
    day_of(important_day, stop_day, last_seen) AS relux_important_day,
    state_of('reluxation', important_day, stop_day, stop_state, last_seen) AS relux_important_state,
    day_of(revised_day, stop_day, last_seen) AS relux_revised_day,
    state_of('reluxation', revised_day, stop_day, stop_state, last_seen) AS relux_revised_state,
    CASE WHEN has_other_way THEN day_of(opposite_found, other_day, last_seen) END AS opposite_day,
    CASE WHEN has_other_way THEN state_of('opposite_luxation', opposite_found, other_day,
        other_state, last_seen) END AS opposite_state
FROM stopped
ORDER BY stifle_no
