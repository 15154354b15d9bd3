-- What ends a stifle's time at risk without the event: what comes first of a revision, amputation and
-- death (in this order on one day); blank if none of them.
CREATE MACRO stop_of(revision_name, revision_day, amputation_day, death_day) AS
CASE
    WHEN revision_day <= least(revision_day, amputation_day, death_day) THEN revision_name::outcome_state
    WHEN amputation_day <= least(amputation_day, death_day) THEN 'amputation'::outcome_state
    WHEN death_day IS NOT NULL THEN 'death'::outcome_state
END
