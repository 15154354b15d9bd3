from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.logistic import LogisticFit, fit_logistic
from tests.analysis.r_values import r_values

Agrees = Callable[[float, str], bool]
TABLE_2_2 = ("age", "lwt", "race2", "race3", "ftv")


@pytest.fixture(scope="module")
def table_2_2(birthwt: pl.DataFrame) -> LogisticFit:
    x = birthwt.select(TABLE_2_2).to_numpy()
    return fit_logistic(x, birthwt["low"].to_numpy(), names=TABLE_2_2)


@pytest.mark.parametrize(
    ("term", "coefficient", "error"),
    [
        ("age", "-0.0238", "0.0337"),
        ("lwt", "-0.0142", "0.00654"),
        ("race2", "1.0039", "0.4979"),
        ("race3", "0.4331", "0.3622"),
        ("ftv", "-0.0493", "0.1672"),
    ],
)
def test_coefficients_agree_with_hosmer_and_lemeshow(
    table_2_2: LogisticFit, agrees: Agrees, term: str, coefficient: str, error: str
) -> None:
    """Applied Logistic Regression, 2nd ed. 2000, Table 2.2 p. 36 (SAS output), verified."""
    place = table_2_2.names.index(term)
    assert agrees(table_2_2.coefficients[place], coefficient)
    assert agrees(table_2_2.std_errors[place], error)


def test_global_tests_agree_with_hosmer_and_lemeshow(
    table_2_2: LogisticFit, agrees: Agrees
) -> None:
    """Same page, verified; log likelihood p. 36."""
    assert agrees(table_2_2.log_likelihood, "-111.286")
    assert agrees(table_2_2.likelihood_ratio.statistic, "12.0991")
    assert agrees(table_2_2.score.statistic, "11.3876")
    assert table_2_2.likelihood_ratio.df == table_2_2.score.df == table_2_2.wald.df == 5


def test_intercept_and_wald_agree_with_r_where_the_printed_number_stopped_early(
    table_2_2: LogisticFit,
) -> None:
    """Table 2.2 prints 1.2953 and 10.6964: SAS stopped before convergence. R converged gives
    these two; its standard errors come from the last but one step, hence 1e-6 for the second."""
    assert table_2_2.coefficients[0] == pytest.approx(1.2953657487739, rel=1e-8)
    assert table_2_2.wald.statistic == pytest.approx(10.6966218942175, rel=1e-6)


def test_smaller_model_agrees_with_r(birthwt: pl.DataFrame) -> None:
    """Hosmer & Lemeshow Table 2.3, from memory: compared with R at 1e-9."""
    right = r_values("published_models")
    names = ("lwt", "race2", "race3")
    fit = fit_logistic(birthwt.select(names).to_numpy(), birthwt["low"].to_numpy(), names=names)
    for name, coefficient in zip(fit.names, fit.coefficients, strict=True):
        assert coefficient == pytest.approx(right["birthwt", name], rel=1e-9), name
    assert fit.log_likelihood == pytest.approx(right["birthwt", "log likelihood"], rel=1e-12)


def respiratory(folder: Path) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    visits = pl.read_csv(folder / "binary_respiratory.csv")
    start = visits.filter(pl.col("month") == 0).select("subject", start=pl.col("status") == "good")
    rows = visits.filter(pl.col("month") > 0).join(start, on="subject", maintain_order="left")
    x = rows.select(
        centre2=pl.col("centre") == 2,
        treatment=pl.col("treatment") == "treatment",
        male=pl.col("sex") == "male",
        baseline="start",
        age="age",
    ).cast(pl.Float64)
    return x.to_numpy(), (rows["status"] == "good").to_numpy(), rows["subject"].to_numpy()


@pytest.mark.parametrize(
    ("place", "coefficient", "error"),
    [
        (0, "-0.90017133", None),
        (1, "0.67160098", "0.356819"),
        (2, "1.29921589", "0.350778"),
        (3, "0.11924365", "0.443202"),
        (4, "1.88202860", "0.35005"),
        (5, "-0.01816588", "0.0130043"),
    ],
)
def test_cluster_robust_errors_agree_with_everitt_and_hothorn(
    oracles: Path, agrees: Agrees, place: int, coefficient: str, error: str | None
) -> None:
    """HSAUR, chapter Analysing Longitudinal Data II, respiratory data, gee(independence) with
    scale 1, verified: the sandwich without small-sample factor (CR0)."""
    x, y, subject = respiratory(oracles)
    fit = fit_logistic(x, y, cluster=subject, correction="CR0")
    assert agrees(fit.coefficients[place], coefficient)
    assert error is None or agrees(fit.std_errors[place], error)
    assert fit.clusters == 111
    right = r_values("published_models")["respiratory", "treatment CR0"]
    assert fit.std_errors[2] == pytest.approx(right, rel=1e-9)


def test_naive_error_agrees_with_everitt_and_hothorn(oracles: Path, agrees: Agrees) -> None:
    """Same source, verified: se of treatment taking visits as independent."""
    x, y, _ = respiratory(oracles)
    assert agrees(fit_logistic(x, y).std_errors[2], "0.236841")


def test_small_sample_factor_is_that_of_statsmodels(oracles: Path) -> None:
    """Second route: statsmodels Logit, cov_type="cluster", default correction, is CR1. R's
    sandwich::vcovCL multiplies by G / (G - 1) alone."""
    x, y, subject = respiratory(oracles)
    fit = fit_logistic(x, y, cluster=subject)
    other = sm.Logit(y, sm.add_constant(x)).fit(
        disp=False, method="newton", tol=1e-12, cov_type="cluster", cov_kwds={"groups": subject}
    )
    np.testing.assert_allclose(fit.std_errors, other.bse, rtol=1e-8)
    n, p, g = len(y), 6, 111
    plain = fit.std_errors[2] / np.sqrt((n - 1) / (n - p))
    assert plain == pytest.approx(
        r_values("published_models")["respiratory", "treatment G / (G - 1)"], rel=1e-9
    )
    assert fit.std_errors[2] > plain > np.sqrt((g - 1) / g) * plain


def test_calendar_year_beside_intercept_loses_no_digit() -> None:
    """Second route: the same years less 2019 give the same slope and error."""
    rng = np.random.default_rng(1)
    year = 2015.0 + rng.integers(0, 9, 400)
    y = rng.random(400) < 1 / (1 + np.exp(-0.2 * (year - 2019)))
    far, near = fit_logistic(year[:, None], y), fit_logistic(year[:, None] - 2019, y)
    assert far.coefficients[1] == pytest.approx(near.coefficients[1], rel=1e-11)
    assert far.std_errors[1] == pytest.approx(near.std_errors[1], rel=1e-11)
    assert far.likelihood_ratio.statistic == pytest.approx(near.likelihood_ratio.statistic)


@settings(max_examples=40)
@given(
    seed=st.integers(0, 10_000),
    n=st.integers(30, 120),
    scale=st.floats(1e-3, 1e3),
    shift=st.floats(-1e3, 1e3),
)
def test_score_is_nil_at_the_estimate_and_scaling_changes_no_fit(
    seed: int, n: int, scale: float, shift: float
) -> None:
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(n, 2))
    y = (rng.random(n) < 0.4).astype(float)
    y[:2] = 0, 1
    w = rng.uniform(0.2, 3.0, n)
    fit = fit_logistic(x, y, weights=w)
    if not fit.converged:
        return
    design = np.column_stack([np.ones(n), x])
    mu = 1 / (1 + np.exp(-design @ fit.coefficients))
    np.testing.assert_allclose(design.T @ (w * (y - mu)), 0, atol=1e-8)
    moved = fit_logistic(x * scale + shift, y, weights=w)
    np.testing.assert_allclose(moved.coefficients[1:] * scale, fit.coefficients[1:], rtol=1e-6)
    assert moved.likelihood_ratio.statistic == pytest.approx(
        fit.likelihood_ratio.statistic, rel=1e-6, abs=1e-8
    )


def test_whole_weights_are_repeated_rows(birthwt: pl.DataFrame) -> None:
    x, y = birthwt.select("age", "lwt").to_numpy().astype(float), birthwt["low"].to_numpy()
    times = birthwt["ftv"].to_numpy() + 1
    weighted = fit_logistic(x, y, weights=times)
    repeated = fit_logistic(np.repeat(x, times, axis=0), np.repeat(y, times))
    np.testing.assert_allclose(weighted.coefficients, repeated.coefficients, rtol=1e-10)
    np.testing.assert_allclose(weighted.std_errors, repeated.std_errors, rtol=1e-10)
    assert weighted.log_likelihood == pytest.approx(repeated.log_likelihood, rel=1e-12)


@pytest.mark.parametrize(("y", "concern"), [([0, 0, 0, 0], "no_events"), ([1] * 4, None)])
def test_outcome_without_contrast_gives_no_number(y: list[int], concern: str | None) -> None:
    fit = fit_logistic([[0.0], [1], [2], [3]], y)
    assert np.isnan(fit.coefficients).all()
    assert "not_identified" in fit.concerns
    assert concern is None or concern in fit.concerns


def test_constant_and_collinear_terms_are_named() -> None:
    x = np.random.default_rng(1).normal(size=(30, 2))
    same = np.full(30, 7.0)
    total = x @ [2.0, -1.0] + 3
    y = np.arange(30) % 2
    fit = fit_logistic(
        np.column_stack([x, same, total]), y, names=("weight", "age", "species", "sum")
    )
    assert [item.in_words() for item in fit.redundant] == [
        "species is the same in every row",
        "sum is determined by weight, age",
    ]
    assert fit.concerns == ("collinear", "not_identified")
    assert np.isnan(fit.coefficients).all()


def test_separated_outcome_prints_no_number() -> None:
    fit = fit_logistic([[1.0], [2], [3], [4]], [0, 0, 1, 1])
    assert not fit.converged
    assert fit.concerns == ("not_converged",)
    assert np.isnan(fit.std_errors).all()


def test_few_events_and_few_clusters_are_said() -> None:
    rng = np.random.default_rng(4)
    y = np.r_[np.ones(8), np.zeros(52)]
    fit = fit_logistic(rng.normal(size=(60, 2)), y, cluster=np.repeat(np.arange(10), 6))
    assert fit.concerns == ("few_events_per_parameter", "few_clusters")


def test_a_cluster_per_row_is_the_sandwich_of_independent_rows(birthwt: pl.DataFrame) -> None:
    """Second route: statsmodels HC0."""
    x, y = birthwt.select("age", "lwt").to_numpy().astype(float), birthwt["low"].to_numpy()
    fit = fit_logistic(x, y, cluster=np.arange(189), correction="CR0")
    other = sm.Logit(y, sm.add_constant(x)).fit(
        disp=False, method="newton", tol=1e-12, cov_type="HC0"
    )
    np.testing.assert_allclose(fit.std_errors, other.bse, rtol=1e-8)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"y": [0, 1, 2, 1]}, "y must hold 0 and 1 only, got 2"),
        ({"y": [0, 1, 1]}, "y must have 4 rows, got 3"),
        ({"x": [[0.0], [1], [np.nan], [3]]}, "x must be finite"),
        ({"weights": [1, 1, -1, 1]}, "weights must not be negative, got -1"),
        ({"weights": [0, 0, 0, 0]}, "weights must be above zero"),
        ({"names": ("a", "b")}, "names must name 1 columns, got 2"),
        ({"cluster": [1, 2]}, "cluster must have shape"),
    ],
)
def test_bad_input_is_refused_with_its_name(change: dict[str, object], words: str) -> None:
    given_values: dict[str, object] = {"x": [[0.0], [1], [2], [3]], "y": [0, 1, 0, 1]}
    with pytest.raises(ValueError, match=words):
        fit_logistic(**(given_values | change))  # pyright: ignore[reportArgumentType]
