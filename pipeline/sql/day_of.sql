-- The day on which a stifle's time at risk ends: the first of what can end it, else the last seen.
CREATE MACRO day_of(event_day, revision_day, amputation_day, death_day, last_seen) AS
coalesce(least(event_day, revision_day, amputation_day, death_day), last_seen)
