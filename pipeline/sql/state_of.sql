-- How a stifle's time at risk ends: by the event if nothing came before it, else by what came
-- first (on one day: event, revision, amputation, death), else censored where last seen.
CREATE MACRO state_of(event_name, event_day, revision_name, revision_day, amputation_day, death_day, last_seen) AS
CASE
    WHEN event_day <= least(event_day, revision_day, amputation_day, death_day)
        THEN event_name::outcome_state
    WHEN revision_day <= least(revision_day, amputation_day, death_day) THEN revision_name::outcome_state
    WHEN amputation_day <= least(amputation_day, death_day) THEN 'amputation'::outcome_state
    WHEN death_day IS NOT NULL THEN 'death'::outcome_state
    WHEN last_seen IS NOT NULL THEN 'censored'::outcome_state
END
