"""The surgeon's running case number in the study."""

from datetime import date, timedelta

from tests.pipeline.invented import DAY_0, Row, cohort_of, joint, outcomes, study_of, visit

SEEN = {"rechecks": [visit(42)]}


def case(day: int, surgeon: str | None = "S1", **values: object) -> Row:
    """A joint operated on a day of the study by a surgeon."""
    on = DAY_0 + timedelta(days=day)
    return joint(on=on, course=SEEN, procedure={"surgeon_id": surgeon}, **values)  # type: ignore[arg-type]


def numbers_of(*joints: Row, **eligibility: object) -> list[int | None]:
    """Give the running numbers of these joints, in their order."""
    rows = outcomes(*joints, study=study_of(eligibility=dict(eligibility)))
    return [row["surgeon_case_in_study"] for row in rows]


def test_a_surgeons_operations_are_numbered_by_their_days() -> None:
    assert numbers_of(case(30), case(0), case(10, "S2"), case(20)) == [3, 1, 1, 2]


def test_operations_of_one_day_share_the_number_of_the_first_and_count_each() -> None:
    assert numbers_of(case(0), case(5), case(5), case(6)) == [1, 2, 2, 4]


def test_an_operation_without_surgeon_has_no_number_and_counts_for_nobody() -> None:
    assert numbers_of(case(0, None), case(1), case(2, None), case(3)) == [None, 1, None, 2]


def test_a_stifle_that_leaves_at_a_step_of_the_protocol_counts() -> None:
    assert numbers_of(case(0), case(1, species="cat"), case(2)) == [1, 2, 3]


def test_counting_starts_with_accrual_of_clinic_and_study() -> None:
    early = (date(2014, 12, 31) - DAY_0).days
    assert numbers_of(case(early), case(0), case(1)) == [None, 1, 2]
    assert numbers_of(case(0), case(1), case(2), accrual_start=date(2020, 1, 2)) == [None, 1, 2]


def test_one_code_at_two_clinics_is_counted_in_each() -> None:
    assert numbers_of(case(0), case(1, clinic="lake"), case(2), case(3, clinic="lake")) == [
        1, 1, 2, 2,
    ]  # fmt: skip


def test_shifted_dates_give_no_number_and_a_later_operation_of_the_joint_is_no_case() -> None:
    assert numbers_of(case(0, clinic="lake"), case(1, surgery_year=2020)) == [1, 1]
    shifted = {"lake": {"dates_shifted": True}}
    held = cohort_of(case(0, clinic="lake", surgery_year=2020, lock_day=900), case(1),
                     clinics=shifted)  # fmt: skip
    assert held.table.sort("clinic_id")["surgeon_case_in_study"].to_list() == [None, 1]
    again = joint("A1", on=DAY_0 + timedelta(days=9), course=SEEN)
    again["key"] = {"clinic_id": "north", "local_stifle": "again"}
    rows = cohort_of(case(0), again, case(20, animal="A2")).table.sort("stifle_id")
    assert rows["surgeon_case_in_study"].to_list() == [1, 2]
