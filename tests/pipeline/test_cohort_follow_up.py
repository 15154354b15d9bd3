"""How long a joint is followed: the data lock, and rechecks by time frame."""

from tests.pipeline.invented import call, cohort_of, joint, only, outcome, visit


def test_nothing_after_the_data_lock_is_seen() -> None:
    cohort = cohort_of(
        joint(course={"rechecks": [visit(42), visit(300, 2)]}),
        clinics={"north": {"dates_shifted": True}},
    )
    assert only(cohort)["relux_state"] == "reluxation"
    locked = cohort_of(
        joint(course={"rechecks": [visit(42), visit(300, 2)]}, lock_day=200, surgery_year=2020),
        clinics={"north": {"dates_shifted": True}},
    )
    row = only(locked)
    assert (row["relux_day"], row["relux_state"], row["admin_end_day"]) == (42, "censored", 200)
    assert (row["last_contact_day"], row["implant_day"]) == (200, 200)
    assert locked.counts["rows_after_lock"] == 1


def test_adequate_rechecks_are_told_by_time_frame() -> None:
    row = outcome(course={"rechecks": [visit(20), call(120), visit(300)]})
    assert (row["adequate_91"], row["adequate_183"], row["adequate_365"]) == (True, False, True)
    assert row["complete_follow_up"] is True
    assert outcome(course={"rechecks": [visit(20)]})["complete_follow_up"] is False
