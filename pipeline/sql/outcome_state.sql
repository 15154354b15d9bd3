-- What can end a stifle's time at risk: the names of the states, each kept as a small number.
CREATE TYPE outcome_state AS ENUM (
    'censored', 'reluxation', 'opposite_luxation', 'implant_complication', 'tuberosity_failure',
    'hardware_complication', 'implant_irritation', 'major_complication', 'planned_removal', 'revision',
    'other_revision', 'amputation', 'death'
)
