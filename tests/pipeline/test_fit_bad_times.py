"""What `sulca fit` of a model of times says of impossible days, and where the data allow no fit."""

from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pipeline.fit import fit_table
from shared.errors import PlanError

ROWS = 60
ROW = pl.int_range(ROWS)
THREE = (ROW >= 5) & (ROW < 8)
TABLE = pl.DataFrame({
    "stifle_id": [f"r{row}" for row in range(ROWS)], "arm": ["a", "b"] * (ROWS // 2),
    "age": [row * 7 % 11 for row in range(ROWS)], "dog": [f"d{row // 2}" for row in range(ROWS)],
    "day": [30 + row * 37 % 101 for row in range(ROWS)], "start": [row % 7 for row in range(ROWS)],
    "state": ["relux" if row % 3 == 0 else "death" if row % 5 == 0 else "none"
              for row in range(ROWS)],
}).with_columns(
    left=pl.col("day") - 10, right=pl.when(pl.col("state") == "relux").then("day")
)  # fmt: skip
STATES = (
    'time = "day"\nevent = "state"\nevent_of_interest = "relux"\ncompeting = ["death"]\n'
    'censored = "none"\n'
)
ENTRY, DAYS, AGE = 'entry = "start"\n', "horizon = [60]\n", 'adjust_for = ["age"]\n'
PIECES = 'distribution = "piecewise_exponential"\ncut_days = [60]\n'
BETWEEN = 'model = "interval_censored"\nleft = "left"\nright = "right"\n' + AGE
COUNTING = f'model = "mean_cumulative_count"\ncluster = "dog"\n{ENTRY}{DAYS}'
REGRESSIONS = {
    "cox": f'model = "cox"\nestimator = "maximum_likelihood"\n{STATES}{AGE}',
    "cox_penalised": f'model = "cox"\nestimator = "penalised"\n{STATES}{AGE}',
    "cox_exact": f'model = "cox"\nties = "exact"\n{STATES}{AGE}',
    "frailty": f'model = "frailty"\nrandom_intercept = "dog"\n{STATES}{AGE}',
    "fine_gray": f'model = "fine_gray"\n{STATES}{AGE}',
    "parametric": f'model = "parametric_survival"\ndistribution = "weibull"\n{STATES}{AGE}',
    "piecewise": f'model = "parametric_survival"\n{STATES}{AGE}{PIECES}',
}
BY_ARM = {
    "kaplan_meier": f'model = "kaplan_meier"\n{STATES}{DAYS}',
    "log_rank": f'model = "log_rank"\n{STATES}',
    "peto_peto": f'model = "log_rank"\ntest = "peto_peto"\n{STATES}',
    "restricted_mean": f'model = "restricted_mean"\n{STATES}{DAYS}',
    "incidence": f'model = "cumulative_incidence"\n{STATES}{DAYS}',
    "mean_count": COUNTING + STATES,
}
INTERVALS = {
    "turnbull": BETWEEN + 'distribution = "weibull"\nhorizon = [60]\nresamples = 5\n',
    "pieces_between": BETWEEN + PIECES,
}
TIMED = REGRESSIONS | BY_ARM
EVERY = TIMED | INTERVALS
ENTERED = {name: TIMED[name] + ENTRY for name in ("cox", "kaplan_meier", "incidence")}
ENTERED["mean_count"] = TIMED["mean_count"]
EFFECTS = ("hazard_ratio", "subdistribution_hazard_ratio", "time_ratio", "test", "mean_count_ratio",
           "restricted_mean_ratio", "risk_difference")  # fmt: skip
Fit = Callable[[pl.DataFrame, str], pl.DataFrame]


@pytest.fixture
def fit(tmp_path: Path) -> Fit:
    def fit_it(table: pl.DataFrame, plan: str) -> pl.DataFrame:
        table.write_csv(tmp_path / "table.csv")
        start = '[[analysis]]\nid = "x"\nexposure = "arm"\nlevels = ["a", "b"]\n'
        models_terms = "adjust_for" in plan
        start += 'adjustments = ["adjusted"]\n' if models_terms else ""
        (tmp_path / "plan.toml").write_text(start + plan, "utf-8")
        fit_table(tmp_path / "table.csv", tmp_path / "plan.toml", tmp_path / "out")
        return pl.read_parquet(tmp_path / "out" / "results.parquet")

    return fit_it


def effects(rows: pl.DataFrame) -> pl.DataFrame:
    return rows.filter(pl.col("measure").is_in(EFFECTS), pl.col("level").is_null()
                       | pl.col("reference").is_null()
                       | (pl.col("level") != pl.col("reference")))  # fmt: skip


def wrong(column: str, value: pl.Expr) -> pl.DataFrame:
    return TABLE.with_columns(pl.when(THREE).then(value).otherwise(column).alias(column))


REFUSED = [
    (TIMED, wrong("day", -pl.col("day")), '"day" is negative in 3 rows, first in r5'),
    (TIMED, wrong("state", pl.lit("limbo")), '"state" holds "limbo" in 3 rows, first in r5'),
    (ENTERED, wrong("start", pl.col("day")), "start is not before day in 3 rows, first in r5"),
    (INTERVALS, wrong("left", pl.lit(500)).with_columns(
        right=pl.when(THREE).then(300).otherwise("right")),
     "right is before left in 3 rows, first in r5"),
    (INTERVALS, wrong("left", pl.lit(-1)), '"left" is negative in 3 rows, first in r5'),
    (INTERVALS, TABLE.with_columns(left=pl.lit(0), right=pl.when(THREE).then(0)),
     "right is not above 0 in 3 rows, first in r5"),
    ({name: EVERY[name] for name in ("parametric", "piecewise")},
     wrong("day", pl.lit(0)).with_columns(state=pl.lit("relux")),
     "day of an event is not above 0 in 3 rows, first in r5"),
    (EVERY, TABLE.with_columns(arm=pl.lit("a")), '"arm" has the level "b"'),
    (BY_ARM, TABLE.with_columns(day=pl.when(pl.col("arm") == "a").then("day")), 'arm = "b"'),
    (REGRESSIONS, TABLE.with_columns(day=pl.when(pl.col("arm") == "a").then("day")),
     "arm has no row with the level b"),
    (ENTERED, TABLE.with_columns(stifle_id=pl.format("s{}", ROW // 2)),
     "a stretch begins before the last ended in 30 rows, first in s"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("table", "plan", "named"),
    [pytest.param(table, plan, named, id=f"{name}: {named}")
     for plans, table, named in REFUSED for name, plan in plans.items()],
)  # fmt: skip
def test_impossible_rows_are_counted_and_the_first_named(
    fit: Fit, table: pl.DataFrame, plan: str, named: str
) -> None:
    with pytest.raises(PlanError) as refused:
        fit(table, plan)
    assert named in str(refused.value)


def test_stretches_that_follow_each_other_are_no_overlap(fit: Fit) -> None:
    twice = [TABLE.with_columns(state=pl.lit("none")),
             TABLE.with_columns(start=pl.col("day"), day=pl.col("day") + 20)]  # fmt: skip
    rows = fit(pl.concat(twice), ENTERED["mean_count"])
    assert rows.filter(pl.col("measure") == "mean_count")["estimate"].null_count() == 0


@pytest.mark.parametrize("name", [name for name in TIMED if name != "mean_count"])
def test_a_row_that_leaves_on_day_0_is_no_fault(fit: Fit, name: str) -> None:
    left_at_once = wrong("day", pl.lit(0)).with_columns(
        state=pl.when(THREE).then(pl.lit("none")).otherwise("state")
    )
    rows = fit(left_at_once, TIMED[name])
    shown = effects(rows)
    assert shown["estimate"].fill_null(shown["statistic"]).null_count() == 0
    assert rows.filter(pl.col("measure") == "count", pl.col("term") == "rows")["n"][0] == ROWS


@pytest.mark.parametrize("name", EVERY)
def test_all_censored_gives_no_effect_and_says_so(fit: Fit, name: str) -> None:
    nothing = TABLE.with_columns(state=pl.lit("none"), right=pl.lit(None, pl.Float64))
    rows = fit(nothing, EVERY[name])
    shown = effects(rows).filter(pl.col("measure") != "risk_difference")
    assert shown["p_value"].null_count() == len(shown)
    ratios = shown.filter(pl.col("measure").str.ends_with("ratio"))
    assert ratios["estimate"].null_count() == len(ratios)
    assert shown["concerns"].str.contains("no_events|not_identified").all()
    assert rows["concerns"].str.contains("no_events").any() or name == "turnbull"


@pytest.mark.parametrize("name", {**REGRESSIONS, **INTERVALS})
def test_a_term_that_separates_in_time_has_no_ratio_by_likelihood(fit: Fit, name: str) -> None:
    change = pl.when(pl.col("arm") == "b").then(pl.lit("none")).otherwise("state")
    table = TABLE.with_columns(state=change).with_columns(
        right=pl.when(pl.col("state") == "relux").then("day")
    )
    rows = effects(fit(table, EVERY[name]))
    away = rows.filter(pl.col("term") == "arm", pl.col("model") != "firth_cox",
                       pl.col("measure") != "test")  # fmt: skip
    assert len(away)
    assert away["estimate"].null_count() == away["high"].null_count() == len(away)
    assert away["concerns"].str.contains("separation").all()
    penalised = rows.filter(pl.col("term") == "arm", pl.col("model") == "firth_cox")
    assert len(penalised) == (name == "cox_penalised")
    assert penalised["estimate"].null_count() == 0


@pytest.mark.parametrize("name", REGRESSIONS)
def test_a_constant_term_is_named(fit: Fit, name: str) -> None:
    rows = effects(fit(TABLE.with_columns(age=pl.lit(4)), REGRESSIONS[name]))
    shown = rows.filter(pl.col("measure").str.ends_with("ratio"), pl.col("term") == "age")
    assert shown["estimate"].null_count() == len(shown) > 0
    assert shown["concerns"].str.contains("not_identified").all()
    by_likelihood = shown.filter(pl.col("model") != "firth_cox")
    assert by_likelihood["method"].str.contains("age is the same in every row").all()


def test_risks_that_round_to_one_have_no_limits_and_raise_no_warning(fit: Fit) -> None:
    ended = TABLE.with_columns(state=pl.lit("relux"))
    rows = fit(ended, BY_ARM["incidence"].replace("[60]", "[60, 100, 130]"))
    last = rows.filter(pl.col("measure") == "risk", pl.col("day") == 130,
                       pl.col("state") == "relux")  # fmt: skip
    assert last["estimate"].to_list() == pytest.approx([1.0, 1.0])
    assert last["low"].null_count() == last["high"].null_count() == 2
