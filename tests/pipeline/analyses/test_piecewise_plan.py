"""Piecewise-exponential hazards through a plan: R's values, rates, curves, and what is refused."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.fit import fit_table
from pipeline.plan import parse_analysis
from shared.errors import PlanError
from tests.analysis.r_values import ORACLES, r_values
from tests.pipeline.test_fit_published import PUBLISHED

DAYS = """
[[analysis]]
id = "pieces"
model = "parametric_survival"
time = "time"
event = "state"
event_of_interest = "1"
competing = ["2"]
censored = "0"
entry = "entry"
weights = "weight"
adjust_for = ["x1", "x2", "x3"]
adjustments = ["adjusted"]
cluster = "animal"
distribution = "piecewise_exponential"
cut_days = [42, 91, 182]
horizon = [100, 500]
"""
BETWEEN = """
[[analysis]]
id = "between"
model = "interval_censored"
left = "left"
right = "right"
adjust_for = ["treatment"]
categorical = { treatment = "Rad" }
resamples = 2
horizon = [20]
cut_days = [10, 30]
"""


def fit(folder: Path, table: Path, plan: str) -> pl.DataFrame:
    (folder / "plan.toml").write_text(plan, encoding="utf-8")
    fit_table(table, folder / "plan.toml", folder / "out")
    return pl.read_parquet(folder / "out" / "results.parquet")


def test_late_entry_weights_and_clusters_as_in_r(tmp_path: Path) -> None:
    """glm(poisson) on split rows with its sandwich by animal, computed."""
    rows = fit(tmp_path, ORACLES / "survival_tied.csv", DAYS)
    right, kind = r_values("survival_piecewise"), "late entry and weights by animal"
    for name in ("x1", "x2", "x3"):
        here = rows.filter(pl.col("measure") == "hazard_ratio", pl.col("term") == name)
        row = here.row(0, named=True)
        value, error = right[kind, f"coefficient {name}"], right[kind, f"error {name}"]
        assert np.log(row["estimate"]) == pytest.approx(value, rel=1e-6)
        assert row["std_error"] == pytest.approx(error, rel=1e-6)
        assert np.log(row["high"]) == pytest.approx(value + 1.959963984540054 * error, rel=1e-6)
    rates = rows.filter(pl.col("measure") == "rate").sort("day")
    assert rates["level"].to_list() == [
        "from day 0 to 42", "from day 42 to 91", "from day 91 to 182", "from day 182",
    ]  # fmt: skip
    table = pl.read_csv(ORACLES / "survival_tied.csv").with_columns(x3=pl.col("x3") - 2020)
    middle = sum(right[kind, f"coefficient {name}"] * float(np.mean(table[name].to_numpy()))
                 for name in ("x1", "x2", "x3"))  # fmt: skip
    for place, rate in enumerate(rates["estimate"]):
        log_rate = right[kind, f"coefficient piece {place + 1}"] + middle
        assert rate == pytest.approx(1000 * np.exp(log_rate), rel=1e-6)
    assert (rates["low"] < rates["estimate"]).all()
    risks = rows.filter(pl.col("measure") == "risk").sort("day")
    assert 0 < risks["estimate"][0] < 1
    assert risks["estimate"][1] is None
    assert "beyond_follow_up" in risks["concerns"][1]


def test_intervals_stand_beside_the_other_distributions(tmp_path: Path) -> None:
    rows = fit(tmp_path, PUBLISHED / "bcos.csv", BETWEEN)
    groups = rows.filter(pl.col("measure") == "aic")["group"].to_list()
    assert groups == [
        "weibull", "lognormal", "loglogistic", "generalised_gamma", "piecewise_exponential",
    ]  # fmt: skip
    curves = pl.read_parquet(tmp_path / "out" / "curves.parquet")
    drawn = curves.filter(pl.col("group") == "piecewise_exponential").sort("day")
    risk = rows.filter(pl.col("measure") == "risk", pl.col("group") == "piecewise_exponential")
    seen = np.interp(20, drawn["day"].to_numpy(), drawn["estimate"].to_numpy())
    assert risk["estimate"][0] == pytest.approx(seen, abs=2e-3)
    ratio = rows.filter(
        pl.col("measure") == "hazard_ratio", pl.col("group") == "piecewise_exponential",
        pl.col("level") == "RadChem",
    ).row(0, named=True)  # fmt: skip
    one_piece = np.exp(r_values("survival_piecewise")["bcos one piece", "coefficient arm"])
    assert ratio["low"] < one_piece < ratio["high"]


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"distribution": "piecewise_exponential"}, "needs the days at which the hazard"),
        ({"distribution": "weibull", "cut_days": [5]}, 'does not use "cut_days"'),
        ({"cut_days": [0, 5]}, "cut_days holds 0"),
        ({"entry": "e"}, '"entry" goes with distribution = "piecewise_exponential" only'),
        ({"weights": "w", "cut_days": [5]}, '"weights" goes with distribution'),
    ],
)
def test_what_only_pieces_take_is_refused_elsewhere(keys: dict[str, object], says: str) -> None:
    plan = {"id": "x", "model": "parametric_survival", "time": "t", "event": "e", **keys}
    with pytest.raises(PlanError, match=says):
        parse_analysis(plan)
