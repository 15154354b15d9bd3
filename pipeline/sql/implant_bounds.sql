-- One row per stifle at risk of an implant complication: the last day it was known free of one.
-- In: implant_states, known_days.  Out: stifle_id, implant_free_day
SELECT s.stifle_id, max(k.day) AS implant_free_day
FROM implant_states AS s JOIN known_days AS k ON k.stifle_id = s.stifle_id
    AND (k.day < s.implant_day OR (k.day = s.implant_day AND s.implant_state <> 'implant_complication'))
GROUP BY s.stifle_id ORDER BY s.stifle_id
