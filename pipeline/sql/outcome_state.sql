-- What can end a stifle's time at risk: events first, then what stops it, in the order in which they
-- count on one day (ends).
CREATE TEMP TYPE outcome_state AS ENUM (
    'censored', 'reluxation', 'opposite_luxation', 'implant_complication', 'tuberosity_failure',
    'hardware_complication', 'implant_irritation', 'major_complication', 'planned_removal', 'revision',
    'other_revision', 'amputation', 'death'
)
