"""Who is in the cohort: sessions, first joints, sets, and the steps of the protocol."""

from datetime import date, timedelta

import polars as pl
import pytest

from pipeline.cohort import build_cohort, explain
from pipeline.link import link
from pipeline.study import Exclusion
from schemas.codebook import by_name
from shared.errors import NobodyLeftError, PlanError
from shared.files import as_text
from tests.pipeline.invented import (
    CODEBOOK,
    DAY_0,
    Row,
    cohort_of,
    holds_of,
    implant,
    joint,
    only,
    outcome,
    outcomes,
    study_of,
    tables_of,
    visit,
)

SEEN = {"rechecks": [visit(42)]}
IN = joint("IN", course=SEEN)  # a stifle that passes every step


def steps_of(*joints: Row, **switches: object) -> list[str | None]:
    """Say at which step each joint leaves a study in which another stays."""
    rows = outcomes(*joints, IN, study=study_of(eligibility=dict(switches)))
    return [row["left_at"] for row in rows[:-1]]


def test_a_pair_operated_on_one_day_is_one_session() -> None:
    cohort = cohort_of(joint(side="left", course=SEEN), joint(side="right", course=SEEN))
    assert cohort.table["session_type"].to_list() == ["bilateral_same_session"] * 2
    assert cohort.table["first_joint"].sum() == 1
    assert cohort.counts["set_c"] == 1


def test_a_pair_operated_on_two_days_is_staged_and_the_earlier_joint_is_first() -> None:
    later = DAY_0 + timedelta(days=60)
    cohort = cohort_of(joint(side="left", on=later, course=SEEN), joint(side="right", course=SEEN))
    assert cohort.table["session_type"].to_list() == ["bilateral_staged"] * 2
    first = cohort.table.filter(pl.col("first_joint"))
    assert first["stifle_id"].to_list() == ["north:A1:right"]


def test_one_joint_is_unilateral_whatever_the_clinic_says() -> None:
    row = only(cohort_of(joint(course=SEEN, session_type_reported="bilateral_staged")))
    assert (row["session_type"], row["session_type_reported"]) == ("unilateral", "bilateral_staged")
    assert row["first_joint"] is True


def test_the_first_joint_of_a_session_is_drawn_by_the_seed_and_by_animal() -> None:
    dogs = [joint(f"A{n}", side, course=SEEN) for n in range(40) for side in ("left", "right")]

    def first_joints(dogs: list[Row], seed: int) -> list[str]:
        table = cohort_of(*dogs, study=study_of(seed=seed)).table
        return table.filter("first_joint")["stifle_id"].to_list()

    drawn = first_joints(dogs, 1)
    assert drawn == first_joints(dogs, 1) != first_joints(dogs, 2)
    assert 10 <= sum(stifle.endswith("left") for stifle in drawn) <= 30
    assert set(first_joints(dogs[20:], 1)) <= set(drawn)


def test_each_switch_lets_go_what_it_names() -> None:
    cat = joint(course=SEEN, species="cat")
    lateral = joint(course=SEEN, luxation_direction="lateral")
    slight = joint(course=SEEN, grade_preop=1)
    assert steps_of(cat, lateral, slight) == ["species", "direction", "grade"]
    wide = steps_of(cat, lateral, slight, species=("dog", "cat"), grades=(1, 2, 3, 4),
                    direction=("medial", "lateral"))  # fmt: skip
    assert wide == [None, None, None]


def test_what_must_be_true_and_is_not_recorded_leaves() -> None:
    blank = joint(course=SEEN, luxation_direction=None), joint(course=SEEN, grade_preop=None)
    assert steps_of(*blank) == ["direction", "grade"]


def test_what_must_not_be_true_and_is_not_recorded_stays() -> None:
    blank = joint(course=SEEN, previous_stifle_surgery=None, aetiology=None)
    assert steps_of(blank) == [None]


def test_earlier_surgery_of_the_joint() -> None:
    patellar = joint(course=SEEN, previous_stifle_surgery="patellar")
    cruciate = joint(course=SEEN, previous_stifle_surgery="cruciate")
    caused = joint(course=SEEN, aetiology="after_other_stifle_surgery")
    three = patellar, cruciate, caused
    assert steps_of(*three) == ["first_surgery", "other_surgery", "other_surgery"]
    only_patellar = steps_of(*three, earlier_surgery=("patellar",))
    assert only_patellar == ["first_surgery", None, None]
    assert steps_of(*three, earlier_surgery=()) == [None, None, None]


def test_accrual_window_of_the_clinic_and_of_the_study() -> None:
    early = joint(on=date(2014, 12, 31), course=SEEN)
    late = joint(on=date(2021, 2, 1), course=SEEN)
    assert steps_of(early, late) == ["accrual", None]
    assert steps_of(early, late, accrual_end=date(2021, 1, 31)) == ["accrual", "accrual"]


def test_at_least_one_procedure_of_the_menu() -> None:
    none = {"sulcoplasty_type": "none", "ttt_done": False, "femoral_osteotomy": "none"}
    nothing = joint(course=SEEN, procedure=none)
    released = joint(course=SEEN, procedure=none | {"medial_release": "retinaculum"})
    assert steps_of(nothing, released) == ["procedure", None]
    assert steps_of(nothing, released, procedures=("ttt",)) == ["procedure", "procedure"]


def test_groove_replacement_is_out_unless_asked_for() -> None:
    replaced = joint(course=SEEN, procedure={"sulcoplasty_type": "groove_replacement"})
    assert steps_of(replaced) == ["groove_replacement"]
    assert steps_of(replaced, groove_replacement=True) == [None]


def test_a_study_can_exclude_by_any_variable_and_ask_for_recorded_ones() -> None:
    made = joint(course=SEEN, aetiology="traumatic", bcs=None)
    rule = Exclusion(column="aetiology", values=("traumatic",), label="traumatic luxation")
    assert steps_of(made, exclude=(rule,)) == ["exclude_1"]
    assert steps_of(made, recorded=("age_months",)) == [None]
    with pytest.raises(NobodyLeftError, match="2 left at Recorded: bcs"):
        steps_of(made, recorded=("bcs",))
    with pytest.raises(PlanError, match='there is no variable "etiology"') as caught:
        steps_of(made, recorded=("etiology",))
    assert 'Did you mean "aetiology"?' in str(caught.value)


def test_sets_side_by_side() -> None:
    followed, early, never, no_ttt = outcomes(
        joint(course={"rechecks": [visit(60)]}),
        joint(course={"rechecks": [visit(10)]}),
        joint(),
        joint(course=SEEN, procedure={"ttt_done": False, "ttt_fixation": None}),
    )
    names = ("set_a", "set_b", "set_c", "set_d")
    assert [followed[name] for name in names] == [True, True, True, True]
    assert [early[name] for name in names] == [True, True, True, True]
    assert [never[name] for name in names] == [True, False, True, True]
    assert [no_ttt[name] for name in names] == [True, True, True, False]


def test_set_b_can_ask_for_a_later_recheck_but_keeps_early_events() -> None:
    protocol = study_of(eligibility={"set_b_from_day": 28})
    early, luxated = joint("A1", course={"rechecks": [visit(10)]}), joint(
        "A2", course={"rechecks": [visit(10, 1)]}
    )  # fmt: skip
    cohort = cohort_of(early, luxated, study=protocol)
    assert cohort.table["set_b"].to_list() == [False, True]


def test_a_protocol_that_leaves_nobody_is_named_with_counts() -> None:
    with pytest.raises(NobodyLeftError, match="1 left at Dogs") as caught:
        cohort_of(joint(species="cat"))
    assert caught.value.exit_code == 1


def test_why_says_in_one_sentence_where_a_stifle_stands() -> None:
    cohort = cohort_of(
        joint("A1", course=SEEN), joint("A2", species="cat"), joint("A3", course={"rechecks": []})
    )
    assert "is in the cohort" in explain(cohort, "north:A1:left")
    assert "day 42 (censored)" in explain(cohort, "north:A1:left")
    assert 'left at the step "Dogs": another species' in explain(cohort, "north:A2:left")
    assert "never palpated" in explain(cohort, "north:A3:left")
    assert "is no index stifle" in explain(cohort, "north:A9:left")
    for stifle_id in cohort.table["stifle_id"]:
        assert explain(cohort, stifle_id).count("\n") == 0


def test_every_column_is_declared_with_its_type_and_codes() -> None:
    cohort, known = cohort_of(joint(course=SEEN), IN), by_name(CODEBOOK)
    undeclared = [name for name in cohort.table.columns if name not in known]
    assert undeclared == []
    table = as_text(cohort.wide)
    coded = {name for name in table.columns if known[name].kind == "category"}
    assert {name: dtype for name, dtype in table.schema.items()
            if (pl.String if name in coded else known[name].dtype) != dtype} == {}  # fmt: skip
    assert {name: words for name in coded
            if (words := {*table[name].drop_nulls()} - {*known[name].codes})} == {}  # fmt: skip


def test_words_of_the_cohort_are_kept_as_codes() -> None:
    table, known = cohort_of(joint(course=SEEN), IN).table, by_name(CODEBOOK)
    made = ("session_type", "weight_band", "worst_severity", "last_function_class")
    assert [table.schema[name] for name in made] == [
        pl.Enum(list(known[name].codes)) for name in made
    ]
    coded = {name for name in table.columns if known[name].kind == "category"}
    assert {name for name in table.columns if table.schema[name] == pl.Enum} == coded | {"left_at"}


def test_the_mean_of_blinded_raters_replaces_the_surgeons_own_ratio() -> None:
    own = {"osteotomy_depth_mm": 5.0, "tibial_depth_mm": 10.0}
    tables = tables_of(joint(course=SEEN, procedure=own))
    reading = {"clinic_id": "north", "local_stifle": "A1:left", "image_id": "I1", "image_day": 0,
               "time_point": "immediate_postoperative", "read_no": 1,
               "rater_blinded": True}  # fmt: skip
    rows = [reading | {"measure": f"{measure}_depth_mm", "value": value, "rater_id": rater}
            for rater, osteotomy in (("R1", 3.0), ("R2", 4.0))
            for measure, value in (("osteotomy", osteotomy), ("tibial", 10.0))]  # fmt: skip
    rows += [rows[0] | {"rater_id": "R3", "rater_blinded": False, "value": 9.0},
             rows[1] | {"rater_id": "R3", "rater_blinded": False}]  # fmt: skip
    empty = tables["measurements"]
    filled = pl.DataFrame([{name: row.get(name) for name in empty.columns} for row in rows],
                          schema=empty.schema)  # fmt: skip
    filled = filled.with_columns(row_id=pl.format("m{}", pl.int_range(pl.len())))
    cohort = build_cohort(link(tables | {"measurements": filled}, holds_of()), study_of())
    assert only(cohort)["osteotomy_ratio"] == pytest.approx(0.35)


def test_a_removal_whose_reason_is_not_recorded_is_not_planned_for_the_piece_before_it() -> None:
    pieces = [implant("k_wire", 100, "planned"), implant("tension_band_wire", 200)]
    found = outcome(course={"rechecks": [visit(300)], "implants": pieces})
    assert (found["implant_state"], found["implant_day"]) == ("revision", 200)
