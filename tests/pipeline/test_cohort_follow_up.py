"""How long a joint is followed: the data lock, and rechecks by time frame."""

import pytest

from shared.errors import PlanError
from tests.pipeline.invented import call, cohort_of, joint, only, outcome, study_of, visit


def test_nothing_after_the_data_lock_is_seen() -> None:
    cohort = cohort_of(
        joint(course={"rechecks": [visit(42), visit(300, 2)]}),
        clinics={"north": {"dates_shifted": True}},
    )
    assert only(cohort)["relux_state"] == "reluxation"
    locked = cohort_of(
        joint(course={"rechecks": [visit(42), visit(300, 2)]}, lock_day=200, surgery_year=2020),
        clinics={"north": {"dates_shifted": True}},
        study=study_of(outcomes={"horizons": (91, 183)}),
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


def test_a_horizon_that_no_stifle_can_have_reached_is_refused_with_counts() -> None:
    with pytest.raises(PlanError, match="horizon 183 lies beyond the data lock of all 1 stifles"):
        cohort_of(
            joint(course={"rechecks": [visit(42)]}, lock_day=100, surgery_year=2020),
            clinics={"north": {"dates_shifted": True}},
        )
