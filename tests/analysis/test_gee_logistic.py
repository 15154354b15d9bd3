"""Estimating equations: printed values, their definition in R, and data that say nothing."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from analysis.gee_logistic import GeeFit, fit_gee_logistic
from tests.analysis.r_values import r_values

Agrees = Callable[[float, str], bool]
PUBLISHED = Path(__file__).parents[2] / "shared" / "published"
TERMS = ("centre", "treatment", "male", "baseline", "age")


def patients() -> GeeFit:
    rows = pl.read_csv(PUBLISHED / "respiratory.csv")
    return fit_gee_logistic(
        rows.select(TERMS).to_numpy().astype(float), rows["good"].to_numpy(),
        cluster=rows["subject"].to_numpy(), names=TERMS,
    )  # fmt: skip


def test_patients_agree_with_everitt_and_hothorn(agrees: Agrees) -> None:
    """HSAUR, chapter Analysing Longitudinal Data II, gee(exchangeable) with scale 1, verified."""
    fit = patients()
    assert agrees(fit.correlation, "0.3359883")
    assert agrees(float(fit.coefficients[2]), "1.29921589")
    assert agrees(float(np.sqrt(fit.covariance[2, 2])), "0.350778")


def same_as_r(fit: GeeFit, name: str, terms: tuple[str, ...], *, kind: str) -> None:
    r, errors = r_values("binary_gee"), np.sqrt(np.diag(fit.covariance))
    for place, term in enumerate(("(Intercept)", *terms)):
        assert fit.coefficients[place] == pytest.approx(r[name, term], rel=1e-7)
        assert errors[place] == pytest.approx(r[f"{name} {kind} se", term], rel=1e-6)
    assert fit.correlation == pytest.approx(r[name, "alpha"], rel=1e-7)


def test_patients_agree_with_r() -> None:
    """R only: the equations written out."""
    same_as_r(patients(), "respiratory", TERMS, kind="robust")


def test_children_agree_with_r_and_nearly_with_geepack(oracles: Path) -> None:
    """R only. geepack divides the products of residuals by all pairs, not by pairs less
    coefficients: its correlation is 0.9997 of this one, its coefficients agree to 1e-6."""
    rows = pl.read_csv(oracles / "binary_ohio.csv")
    fit = fit_gee_logistic(
        rows.select("age", "smoke").to_numpy(), rows["resp"].to_numpy(),
        cluster=rows["id"].to_numpy(), errors="robust",
    )  # fmt: skip
    same_as_r(fit, "ohio", ("age", "smoke"), kind="robust")
    r, errors = r_values("binary_clustered"), np.sqrt(np.diag(fit.covariance))
    for place, term in enumerate(("(Intercept)", "age", "smoke")):
        assert fit.coefficients[place] == pytest.approx(r["ohio gee", term], rel=1e-5)
        assert errors[place] == pytest.approx(r["ohio gee se", term], rel=1e-5)
    ratio = r["ohio gee", "alpha"] / fit.correlation
    pairs = 537 * 6
    assert ratio == pytest.approx((pairs - 3) / pairs, rel=1e-3)


def test_few_herds_have_bias_reduced_errors_and_t() -> None:
    """R only: Mancl and DeRouen's errors written out."""
    cattle = pl.read_csv(PUBLISHED / "cbpp.csv")
    periods = np.column_stack([(cattle["period"] == k).to_numpy() for k in (2, 3, 4)])
    terms = ("period2", "period3", "period4")
    fit = fit_gee_logistic(
        periods.astype(float), cattle["ill"].to_numpy(), cluster=cattle["herd"].to_numpy()
    )
    assert (fit.errors, fit.df, fit.concerns) == ("bias_reduced", 11, ("few_clusters",))
    same_as_r(fit, "cbpp", terms, kind="reduced")


@pytest.mark.parametrize(
    ("change", "concerns"),
    [
        ("one row a cluster", ("one_row_a_cluster", "not_identified")),
        ("separated", ("separation", "not_identified")),
        ("nobody", ("no_events", "not_identified")),
        ("constant", ("not_identified",)),
    ],
)
def test_what_has_no_fit_says_why_and_gives_no_number(
    change: str, concerns: tuple[str, ...]
) -> None:
    draw = np.random.default_rng(1)
    x, animal = draw.normal(size=(60, 2)), np.repeat(np.arange(30), 2)
    y = (draw.random(60) < 0.4).astype(float)
    if change == "one row a cluster":
        animal = np.arange(60)
    elif change == "separated":
        y = (x[:, 0] > 0).astype(float)
    elif change == "nobody":
        y = np.zeros(60)
    else:
        x[:, 1] = 1.0
    fit = fit_gee_logistic(x, y, cluster=animal)
    assert fit.concerns == concerns
    assert np.isnan(fit.coefficients).all()
    assert np.isnan([fit.correlation, fit.wald.statistic]).all()
