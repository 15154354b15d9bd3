-- How a stifle's time at risk ends: by the event if nothing came before it, else by what stopped it
-- (stop_of), else censored where last seen.
CREATE MACRO state_of(event_name, event_day, stop_day, stop_state, last_seen) AS
CASE
    WHEN event_day <= coalesce(stop_day, event_day) THEN event_name::outcome_state
    WHEN stop_day IS NOT NULL THEN stop_state
    WHEN last_seen IS NOT NULL THEN 'censored'::outcome_state
END
