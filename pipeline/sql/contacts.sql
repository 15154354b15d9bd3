-- When anything was last known of a stifle, and whether its palpations reach far enough.
-- In: stifle_facts.  Parameter: $complete_from_day.  Adds: complete_follow_up, last_contact_day
SELECT *,
    last_adequate_day IS NOT NULL AND last_adequate_day >= $complete_from_day AS complete_follow_up,
    greatest(last_visit_day, last_complication_day, last_revision_day, last_removal_day, last_known_day)
        AS last_contact_day
FROM stifle_facts
