-- The day on which a stifle's time at risk ends: the first of the event and of what stops it, else the
-- last seen.
CREATE MACRO day_of(event_day, stop_day, last_seen) AS coalesce(least(event_day, stop_day), last_seen)
