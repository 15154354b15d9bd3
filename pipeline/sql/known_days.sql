-- One row per day on which anything was known of a stifle: any contact, event or removal.
-- In: joints, seen_rechecks, seen_complications, seen_revisions, seen_implants.  Out: stifle_id, day
SELECT stifle_id, recheck_day AS day FROM seen_rechecks WHERE recheck_day IS NOT NULL
UNION SELECT stifle_id, detected_day FROM seen_complications WHERE detected_day IS NOT NULL
UNION SELECT stifle_id, revision_day FROM seen_revisions WHERE revision_day IS NOT NULL
UNION SELECT stifle_id, implant_removed_day FROM seen_implants WHERE implant_removed_day IS NOT NULL
UNION SELECT stifle_id, least(end_of_followup_day, admin_end_day) FROM joints
    WHERE end_of_followup_day IS NOT NULL
ORDER BY stifle_id, day
