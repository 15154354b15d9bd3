"""The cohort of simulated studies, computed twice: by SQL, and from the definitions in Python."""

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.check import check
from pipeline.cohort import Cohort, build_cohort, explain
from pipeline.flow_counts import FIRST
from pipeline.intake.study_intake import read_study as read_exports
from pipeline.link import link
from pipeline.simulate.simulated import simulate_study
from pipeline.study import read_study
from schemas.codebook import by_name, read_codebook
from tests.pipeline.invented import CODEBOOK, Tables, holds_of, planned, study_of
from tests.pipeline.second_cohort import first_dates, second_cohort, second_flow

COMPARED = (
    "left_at", "relux_day", "relux_state", "relux_left", "relux_right", "relux_by_91",
    "relux_by_183", "relux_by_365", "implant_day", "implant_state", "implant_by_91",
    "implant_by_183", "implant_by_365",
)  # fmt: skip

DEMO = Path(__file__).parents[2] / "shared" / "demo"
KNOWN = by_name(CODEBOOK)
TYPES = tuple(KNOWN["complication_type"].codes)
TREATMENTS = tuple(KNOWN["treatment"].codes)
REASONS = tuple(KNOWN["revision_reason"].codes)


def accepted(tables: Tables) -> Tables:
    """Give simulated canonical tables the address columns of accepted rows."""
    return {
        name: frame.with_row_index("row", offset=2).select(
            pl.format("{}/{}/{}", "clinic_id", pl.lit(name), "row").alias("row_id"),
            pl.lit("simulated.csv").alias("file"), pl.lit("").alias("sheet"),
            pl.col("row").cast(pl.Int64), pl.lit("").alias("block"), *frame.columns,
            pl.lit(value=False).alias("derived"),
        )
        for name, frame in tables.items()
    }  # fmt: skip


def disturbed(tables: Tables, seed: int) -> Tables:
    """Change simulated rows at random, so that every clause of the definitions is met."""
    rng = np.random.default_rng([seed, 5])

    def some(frame: pl.DataFrame, share: float) -> pl.Expr:
        return pl.lit(pl.Series(rng.random(frame.height) < share))

    def drawn(frame: pl.DataFrame, choices: Sequence[object]) -> pl.Expr:
        picked = [choices[place] for place in rng.integers(0, len(choices), frame.height)]
        return pl.lit(pl.Series(picked))

    def put(frame: pl.DataFrame, share: float, **values: pl.Expr) -> pl.DataFrame:
        hit = some(frame, share)
        return frame.with_columns(
            pl.when(hit).then(value).otherwise(name).alias(name) for name, value in values.items()
        )

    seen, told = tables["rechecks"], tables["complications"]
    done, ends = tables["revisions"], tables["stifles"]
    ways = ("medial", "lateral", "bidirectional", None)
    seen = put(
        seen, 0.06, patella_grade=drawn(seen, (1, 2, 3)), patella_direction=drawn(seen, ways)
    )
    seen = put(seen, 0.05, recheck_mode=pl.lit("telephone"))
    told = put(told, 0.3, last_negative_day=pl.col("detected_day") - drawn(told, range(60)))
    told = put(told, 0.2, detected_by=drawn(told, ("owner_report", "imaging_only")))
    told = put(told, 0.05, intraoperative=pl.lit(value=True))
    told = put(told, 0.2, complication_type=drawn(told, TYPES), treatment=drawn(told, TREATMENTS))
    done = put(done, 0.4, revision_reason=drawn(done, REASONS))
    ends = put(ends, 0.1, end_status=drawn(ends, ("died", "euthanised", "amputated", "lost")))
    ends = put(
        ends, 0.1, luxation_direction=drawn(ends, ways), grade_preop=drawn(ends, (1, 2, None))
    )
    return tables | {
        "rechecks": seen, "complications": told, "revisions": done, "stifles": ends,
    }  # fmt: skip


def compare(seed: int, n_stifles: int) -> tuple[Cohort, list[str]]:
    """Compute one simulated study both ways, some outcomes held; give what differs."""
    tables = disturbed(accepted(dict(simulate_study(seed, n_stifles).tables)), seed)
    keys = tables["stifles"].select("clinic_id", "local_stifle").gather_every(9).rows()
    targets = ("outcome:all", "outcome:reluxation", "outcome:implant")
    holds = holds_of(*((*key, targets[place % 3]) for place, key in enumerate(keys)))
    marks = planned_days(tables)
    cohort = build_cohort(link(tables, holds, marks=marks), study_of())
    differ = differences(cohort, tables, holds, marks)
    return cohort, [f"seed {seed}, {line}" for line in differ]


def planned_days(tables: Tables) -> pl.DataFrame:
    """Mark some days as planned, in steps of a week or a month."""
    steps = (("rechecks", "recheck_day", 2, 4), ("complications", "detected_day", 3, 7),
             ("revisions", "revision_day", 2, 15))  # fmt: skip
    return pl.concat(
        planned(dict.fromkeys(tables[table]["row_id"].gather_every(every), half), variable)
        for table, variable, every, half in steps
    )


def differences(
    cohort: Cohort,
    tables: Mapping[str, pl.DataFrame],
    holds: pl.DataFrame,
    marks: pl.DataFrame,
) -> list[str]:
    """Name every stifle, column and step in which the two computations differ."""
    windows = marks.filter(mark="nominal").select("row_id", "window_days")
    second = second_cohort(tables, holds, dict(windows.iter_rows()))
    found = {row["stifle_id"]: row for row in cohort.table.iter_rows(named=True)}
    assert found.keys() == second.keys()
    assert set(next(iter(second.values()))) == set(COMPARED)
    differ = [f"{name}, {column}: {found[name][column]} and {value}"
              for name, row in second.items() for column, value in row.items()
              if found[name][column] != value]  # fmt: skip
    for clinic in (None, *cohort.table["clinic_id"].unique()):
        part = cohort.flow.filter(pl.col("clinic_id") == (clinic or "all"))
        counted = part.sort("step")["stifles"].to_list()[len(FIRST) :]
        if counted != second_flow(second, clinic):
            differ.append(f"flow of {clinic}: {counted}")
    waited = first_dates(tables)
    differ += [f"{name}: first joint" for name, row in found.items()
               if row["session_type"] == "bilateral_staged"
               and row["first_joint"] != (waited[name].days == 0)]  # fmt: skip
    return differ


def test_both_ways_agree_on_every_stifle_of_the_demo() -> None:
    codebook = read_codebook(DEMO)
    mapped = read_exports(DEMO, codebook)
    checked = check(mapped, codebook)
    linked = link(checked.tables, checked.holds, marks=checked.marks)
    cohort = build_cohort(linked, read_study(DEMO))
    assert cohort.table.height > 800
    assert cohort.counts["relux_held"] > 0
    assert differences(cohort, checked.tables, checked.holds, checked.marks) == []


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_both_ways_agree_on_every_stifle(seed: int) -> None:
    _, differ = compare(seed, 900)
    assert differ == []


def test_small_studies_of_many_seeds_agree() -> None:
    differ = [line for seed in range(100, 110) for line in compare(seed, 60)[1]]
    assert differ == []


def test_a_wrong_day_would_be_seen() -> None:
    cohort, _ = compare(1, 200)
    tables = disturbed(accepted(dict(simulate_study(1, 200).tables)), 1)
    moved = tables["rechecks"].with_columns(pl.col("recheck_day") + 1)
    second = second_cohort(tables | {"rechecks": moved}, holds_of())
    days = {row["stifle_id"]: row["relux_day"] for row in cohort.table.iter_rows(named=True)}
    assert sum(days[name] != row["relux_day"] for name, row in second.items()) > 100


def test_why_names_the_step_of_any_stifle() -> None:
    cohort, _ = compare(4, 400)
    labels = {row["name"]: row["label"] for row in cohort.flow.iter_rows(named=True)}
    for row in cohort.table.iter_rows(named=True):
        said = explain(cohort, row["stifle_id"])
        if row["left_at"] is None:
            assert "is in the cohort" in said
        else:
            assert labels[row["left_at"]] in said
