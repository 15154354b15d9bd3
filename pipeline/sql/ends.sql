-- What may end a stifle's time at risk, as one number: sixteen times the day, and the place of its kind in
-- outcome_state. The least of several is what came first; on one day the event goes before a revision,
-- that before an amputation, and that before death.
-- The day until which it was free (censored) goes 1048576 days behind all of them: it counts where there is
-- nothing else.
CREATE TEMP MACRO ends(kind, day) AS 16 * day
    + (enum_code(kind::outcome_state) + CASE WHEN kind = 'censored' THEN 16 * 1048576 ELSE 0 END)
