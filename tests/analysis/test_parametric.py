"""Models of log time: published values, R, intervals, clusters, and tables without a fit."""

from collections.abc import Callable

import numpy as np
import polars as pl
import pytest
from scipy.integrate import quad

from analysis.arrays import FloatArray
from analysis.kernels.generalised_gamma import gamma_standard
from analysis.kernels.location_scale import STANDARDS
from analysis.parametric import Distribution, fit_parametric, parametric_risks
from tests.analysis.r_values import ORACLES, r_values
from tests.analysis.test_incidence import PUBLISHED

Agrees = Callable[[float, str], bool]
TERMS = ("x1", "x2", "x3")
DISTRIBUTIONS = ("weibull", "lognormal", "loglogistic")


def exact_or_censored(frame: pl.DataFrame) -> tuple[FloatArray, FloatArray]:
    """Ends of the intervals of right-censored days."""
    days = frame["time"].cast(pl.Float64).to_numpy()
    return days, np.where(frame["event"].to_numpy() == 1, days, np.nan)


def tied() -> pl.DataFrame:
    frame = pl.read_csv(ORACLES / "survival_tied.csv")
    return frame.with_columns(event=(pl.col("state") == 1).cast(pl.Int64))


def lung(*needed: str) -> pl.DataFrame:
    frame = pl.read_csv(PUBLISHED / "survival_lung.csv", null_values="NA")
    return frame.drop_nulls(list(needed)).with_columns(event=pl.col("status") - 1)


def test_weibull_model_of_lung_cancer(agrees: Agrees) -> None:
    """R package survival, vignette, verified; its older fit agrees to five digits."""
    frame = lung("ph.karno")
    x = frame.select("age", "sex", "ph.karno").to_numpy().astype(float)
    fit = fit_parametric(x, *exact_or_censored(frame), distribution="weibull")
    printed = ("5.3263", "-0.00891", "0.3702", "0.00926")
    for value, text in zip(fit.coefficients[:-1], printed, strict=True):
        assert agrees(value, text)
    assert agrees(fit.scale, "0.7551")
    assert agrees(fit.log_likelihood, "-1138.7")
    assert agrees(fit.likelihood_ratio.statistic, "17.59")


def test_weibull_model_of_lung_cancer_by_performance(agrees: Agrees) -> None:
    """Reference output of the tests of the R package survival (r_lung), verified."""
    frame = lung("ph.ecog")
    x = frame.select("age", "sex", "ph.ecog").to_numpy().astype(float)
    fit = fit_parametric(x, *exact_or_censored(frame), distribution="weibull")
    assert agrees(fit.coefficients[0], "6.273435252")
    assert agrees(fit.coefficients[2], "0.401090541")
    assert agrees(fit.scale, "0.731109")
    assert agrees(fit.log_likelihood, "-1132.4")
    alone = fit_parametric(np.empty((228, 0)), *exact_or_censored(lung()), distribution="weibull")
    assert agrees(alone.coefficients[0], "6.034904")
    assert agrees(alone.scale, "0.7593936")


def test_breast_cosmesis_hazard_ratio() -> None:
    """Stata's manual, stintreg example 1, from memory: 2.498526 and -143.19228; R's value here.

    Its data have (18, 26] where the R package has (19, 26].
    """
    frame = cosmesis().with_columns(
        left=pl.when((pl.col("left") == 19) & (pl.col("right") == 26)).then(18).otherwise("left")
    )
    fit = fit_parametric(arm(frame), frame["left"], frame["right"], distribution="weibull")
    assert np.exp(-fit.coefficients[1] / fit.scale) == pytest.approx(2.49852566313494, rel=1e-6)
    assert fit.log_likelihood == pytest.approx(-143.192280849871, rel=1e-9)


def cosmesis() -> pl.DataFrame:
    return pl.read_csv(PUBLISHED / "bcos.csv")


def arm(frame: pl.DataFrame) -> FloatArray:
    return (frame["treatment"] == "RadChem").cast(pl.Float64).to_numpy()[:, None]


def by_visits(frame: pl.DataFrame) -> tuple[FloatArray, FloatArray]:
    """Visits every 60 days, as the R script makes them."""
    days, event = frame["time"].to_numpy().astype(float), frame["event"].to_numpy() == 1
    left = np.where(event, 60 * np.floor((days - 1) / 60), days)
    return left, np.where(event, 60 * np.ceil(days / 60), np.nan)


def few_events() -> pl.DataFrame:
    """Every tenth row may have its event; all others are followed for 420 days."""
    one_in_ten = pl.when(pl.col("row") % 10 == 0).then("event").otherwise(0)
    return (
        tied().with_row_index("row").with_columns(event=one_in_ten)
        .with_columns(time=pl.when(pl.col("event") == 1).then("time").otherwise(420))
    )  # fmt: skip


@pytest.mark.parametrize("distribution", DISTRIBUTIONS)
@pytest.mark.parametrize("rows", ["right-censored", "by animal", "intervals", "few events", "bcos"])
def test_all_kinds_of_rows_as_r_has_them(distribution: Distribution, rows: str) -> None:
    """survival::survreg: coefficients, errors (by animal: robust) and likelihoods."""
    if rows == "bcos":
        x, ends, names = arm(cosmesis()), (cosmesis()["left"], cosmesis()["right"]), ("arm",)
    else:
        x, names = tied().select(TERMS).to_numpy().astype(float), TERMS
        ends = by_visits(tied()) if rows == "intervals" else exact_or_censored(tied())
        ends = by_visits(few_events()) if rows == "few events" else ends
    cluster = tied()["animal"] if rows == "by animal" else None
    fit = fit_parametric(x, *ends, distribution=distribution, cluster=cluster, names=names)
    right, group = r_values("survival_parametric"), f"{distribution} {rows}"
    for place, name in enumerate(fit.names):
        value, error = right[group, f"coefficient {name}"], right[group, f"error {name}"]
        assert fit.coefficients[place] == pytest.approx(value, rel=1e-6, abs=1e-8)
        assert fit.std_errors[place] == pytest.approx(error, rel=1e-6)
    for which, value in (("null", fit.log_likelihood_null), ("fit", fit.log_likelihood)):
        assert value == pytest.approx(right[group, f"log likelihood {which}"], rel=1e-9)


@pytest.mark.parametrize("rows", ["right-censored", "bcos"])
def test_generalised_gamma_as_its_definition_in_r(rows: str) -> None:
    """survival_gamma.R climbs the likelihood by Newton's method; terms centred there and here."""
    if rows == "bcos":
        x, ends, names = arm(cosmesis()), (cosmesis()["left"], cosmesis()["right"]), ("arm",)
    else:
        x, names = tied().select(TERMS).to_numpy().astype(float), TERMS
        x, ends = x - x.mean(axis=0), exact_or_censored(tied())
    fit = fit_parametric(x, *ends, distribution="generalised_gamma", names=names)
    right = r_values("survival_gamma")
    for place, name in enumerate(fit.names):
        assert fit.coefficients[place] == pytest.approx(right[rows, f"coefficient {name}"],
                                                        rel=1e-6)  # fmt: skip
        assert fit.std_errors[place] == pytest.approx(right[rows, f"error {name}"], rel=1e-6)
    assert fit.log_likelihood == pytest.approx(right[rows, "log likelihood"], rel=1e-10)
    assert fit.aic == pytest.approx(2 * len(fit.names) - 2 * fit.log_likelihood)


@pytest.mark.parametrize(
    ("shape", "named", "near"), [(1.0, "weibull", 1e-12), (1e-5, "lognormal", 1e-4)]
)
def test_the_generalised_gamma_holds_two_distributions(
    shape: float, named: str, near: float
) -> None:
    """Prentice 1974: shape 1 is the smallest extreme value, shape 0 the normal distribution."""
    w = np.linspace(-3, 2.5, 23)
    for part in ("log_density", "log_survival"):
        ours, known = (getattr(item, part)(w) for item in (gamma_standard(shape), STANDARDS[named]))
        for value, expected in zip(ours, known, strict=True):
            assert value == pytest.approx(expected, rel=near, abs=near)


@pytest.mark.parametrize("shape", [-1.4, -0.02, 0.003, 0.7, 2.2])
def test_the_tail_of_a_generalised_gamma_is_the_integral_of_its_density(shape: float) -> None:
    standard = gamma_standard(shape)

    def density(w: float) -> float:
        return float(np.exp(standard.log_density(np.array([w]))[0][0]))

    for low in (-1.0, 0.4):
        expected = quad(density, low, 60, epsabs=1e-13, epsrel=1e-11, limit=400)[0]
        value, slope = standard.log_survival(np.array([low]))
        assert np.exp(value[0]) == pytest.approx(expected, rel=1e-8)
        assert slope[0] == pytest.approx(-density(low) / expected, rel=1e-8)


def test_risks_by_a_day_are_those_of_the_fitted_distribution() -> None:
    """survival::predict.survreg puts each share's day where this risk is that share."""
    x = tied().select(TERMS).to_numpy().astype(float)
    right = r_values("survival_parametric")
    for distribution in DISTRIBUTIONS:
        fit = fit_parametric(x, *exact_or_censored(tied()), distribution=distribution)
        for share in (0.1, 0.5):
            day = right[
                f"{distribution} right-censored", f"day of share {share:g} of the first row"
            ]
            assert parametric_risks(fit, x[:1], [day])[0] == pytest.approx(share, rel=1e-6)


def test_a_longer_unit_of_time_moves_only_the_intercept() -> None:
    days, ends = exact_or_censored(tied())
    x = tied().select(TERMS).to_numpy().astype(float)
    first = fit_parametric(x, days, ends, distribution="loglogistic")
    weeks = fit_parametric(x, days / 7, ends / 7, distribution="loglogistic")
    assert weeks.coefficients[1:] == pytest.approx(first.coefficients[1:], rel=1e-7)
    assert first.coefficients[0] - weeks.coefficients[0] == pytest.approx(np.log(7), rel=1e-6)


@pytest.mark.parametrize(
    ("x", "right", "concern"),
    [
        ([1.0, 1.0, 1.0], [5.0, 6.0, np.nan], "collinear"),
        ([0.0, 1.0, 0.5], [np.nan] * 3, "no_events"),
    ],
)
def test_what_cannot_be_fitted_has_a_reason_and_no_number(
    x: list[float], right: list[float], concern: str
) -> None:
    fit = fit_parametric(np.array(x)[:, None], [2, 3, 4], right, distribution="weibull")
    assert np.isnan(fit.coefficients).all()
    assert concern in fit.concerns


def test_an_interval_turned_round_and_an_unknown_distribution_are_refused() -> None:
    with pytest.raises(ValueError, match=r"right must not lie before left, got left 4 and right 3"):
        fit_parametric([[0.0], [1.0]], [4, 1], [3, 2], distribution="weibull")
    with pytest.raises(ValueError, match="distribution must be one of weibull"):
        fit_parametric([[0.0]], [1], [2], distribution="gompertz")  # type: ignore[arg-type]
