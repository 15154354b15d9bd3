-- One row per stifle at risk of an implant complication: the last day it was known free of one.
-- Without an event that is the last contact; else the last day before it on which anything was known.
-- In: implant_states, joints, contacts, visits, seen_complications, seen_revisions, seen_implants.
-- Out: stifle_no, implant_free_day
WITH ended AS (
    SELECT stifle_no, implant_day, implant_state FROM implant_states WHERE implant_state <> 'censored'
),
known AS (
    SELECT stifle_no, day FROM visits SEMI JOIN ended USING (stifle_no)
    UNION ALL SELECT stifle_no, detected_day FROM seen_complications
    UNION ALL SELECT stifle_no, revision_day FROM seen_revisions
    UNION ALL SELECT stifle_no, implant_removed_day FROM seen_implants
    UNION ALL SELECT stifle_no, least(end_of_followup_day, admin_end_day) FROM joints
        WHERE end_of_followup_day IS NOT NULL
)
SELECT e.stifle_no, max(k.day) AS implant_free_day
FROM ended AS e JOIN known AS k ON k.stifle_no = e.stifle_no
    AND (k.day < e.implant_day OR (k.day = e.implant_day AND e.implant_state <> 'implant_complication'))
GROUP BY e.stifle_no
UNION ALL
SELECT stifle_no, last_contact_day
FROM implant_states JOIN contacts USING (stifle_no) WHERE implant_state = 'censored'
ORDER BY stifle_no
