"""Unknown outcomes: their extremes are counts, and the model of the weights is shown."""

import numpy as np
import polars as pl
import pytest

from analysis.cox import fit_cox
from tests.pipeline.analyses.asked import only, run
from tests.pipeline.analyses.conftest import BY_YEAR

CRUDE = {**BY_YEAR, "adjustments": ["crude"]}
WEDGE, BLOCK = "wedge_recession", "block_recession"


@pytest.fixture(scope="module")
def crude(invented_cohort: pl.DataFrame) -> pl.DataFrame:
    return run(invented_cohort, model="logistic", **CRUDE, estimator="maximum_likelihood")


def _counts(frame: pl.DataFrame, arm: str) -> tuple[int, int, int]:
    own = frame.filter(pl.col("sulcoplasty_type") == arm, pl.col("left_at").is_null())
    outcome = own["relux_by_365"]
    return int(outcome.sum()), outcome.null_count(), len(own)


@pytest.mark.parametrize(
    ("state", "in_wedge", "in_block"),
    [
        ("unknown_all", 1, 1),
        ("unknown_none", 0, 0),
        ("unknown_worst", 0, 1),
        ("unknown_best", 1, 0),
    ],
)
def test_extremes_are_plain_counts(
    crude: pl.DataFrame, invented_cohort: pl.DataFrame, state: str, in_wedge: int, in_block: int
) -> None:
    rows = run(invented_cohort.filter(pl.col("left_at").is_null()), model="logistic",
               **{**CRUDE, "estimator": "maximum_likelihood"})  # fmt: skip
    shares = []
    for arm, counted in ((WEDGE, in_wedge), (BLOCK, in_block)):
        events, unknown, n = _counts(invented_cohort, arm)
        shares.append((events + counted * unknown) / n)
        row = only(rows, measure="risk", state=state, group=arm)
        if row["model"] == "logistic":  # a penalised risk is drawn a little towards one half
            assert row["estimate"] == pytest.approx(shares[-1], rel=1e-9)
        else:
            assert row["estimate"] == pytest.approx(shares[-1], abs=0.01)
    difference = only(rows, measure="risk_difference", state=state)
    assert difference["role"] == "sensitivity"
    assert difference["estimate"] == pytest.approx(shares[1] - shares[0], abs=0.01)
    assert difference["low"] < difference["estimate"] < difference["high"]
    assert difference["definition"]


def test_the_answer_lies_between_the_extremes(invented_cohort: pl.DataFrame) -> None:
    rows = run(invented_cohort, model="logistic", **BY_YEAR)
    best, worst = (
        only(rows, measure="risk_difference", state=state)["estimate"]
        for state in ("unknown_best", "unknown_worst")
    )
    answer = rows.filter(
        pl.col("measure") == "risk_difference", pl.col("state").is_null(),
        pl.col("role") == "exploratory",
    )["estimate"]  # fmt: skip
    assert len(answer) == 1
    assert best < answer[0] < worst


def test_all_known_has_no_extremes(invented_cohort: pl.DataFrame) -> None:
    known = invented_cohort.filter(pl.col("relux_by_365").is_not_null())
    rows = run(known, model="logistic", **{**BY_YEAR, "missing_outcome": "complete_cases"})
    assert rows.filter(pl.col("state").is_not_null()).is_empty()


def test_model_of_loss_is_shown_with_robust_limits(invented_cohort: pl.DataFrame) -> None:
    """Fitted here once more from the columns themselves."""
    rows = run(invented_cohort, model="logistic",
               **{**BY_YEAR, "adjust_for": ["grade_preop"], "categorical": {}})  # fmt: skip
    row = only(rows, measure="hazard_ratio_of_loss", term="grade_preop")
    frame = invented_cohort.filter(
        pl.col("left_at").is_null(), pl.col("sulcoplasty_type").is_in([WEDGE, BLOCK]),
        pl.col("relux_day").is_not_null(),
    )  # fmt: skip
    known = frame["relux_by_365"].is_not_null().to_numpy()
    event = frame["relux_by_365"].fill_null(value=False).to_numpy()
    day = frame["relux_day"].to_numpy().astype(float)
    settled = np.where(event, day, np.minimum(day, 365 - 28))
    x = np.column_stack([frame["sulcoplasty_type"] == BLOCK, frame["grade_preop"]]).astype(float)
    fit = fit_cox(x, np.where(known, settled - 0.5, settled), ~known, cluster=frame["animal_id"])
    assert row["estimate"] == pytest.approx(np.exp(fit.coefficients[1]), rel=1e-9)
    low, high = (np.exp(limit[1]) for limit in fit.limits())
    assert (row["low"], row["high"]) == pytest.approx((low, high), rel=1e-9)
    assert row["n"] == len(frame)
    assert "robust by animal_id" in row["method"]


def test_overlap_is_told_by_arm(invented_cohort: pl.DataFrame) -> None:
    rows = run(invented_cohort, model="logistic", **BY_YEAR)
    for arm in (WEDGE, BLOCK):
        lowest, median, highest = (
            only(rows, measure="probability_known", group=arm, level=level)["estimate"]
            for level in ("lowest", "median", "highest")
        )
        assert 0 < lowest < median <= highest <= 1
    assert only(rows, measure="mean_weight")["estimate"] == pytest.approx(1, abs=0.05)
