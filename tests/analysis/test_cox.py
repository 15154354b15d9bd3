"""Cox regression on published data, and what it refuses or withholds."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from analysis.cox import CoxFit, cluster_score_test, fit_cox, proportional_hazards_test

Agrees = Callable[[float, str], bool]
PUBLISHED = Path(__file__).parents[2] / "shared" / "published"


def table(name: str) -> pl.DataFrame:
    return pl.read_csv(PUBLISHED / f"{name}.csv", null_values="NA")


def fit_lung() -> CoxFit:
    terms = ("age", "sex", "wt.loss")
    lung = table("survival_lung").drop_nulls([*terms, "time", "status"])
    return fit_cox(lung.select(terms), lung["time"], lung["status"] == 2, names=terms)


def test_lung_cancer(agrees: Agrees) -> None:
    """R package survival, its main vignette, print of coxph, verified."""
    fit = fit_lung()
    for value, printed in zip(
        fit.coefficients, ("0.0200882", "-0.5210319", "0.0007596"), strict=True
    ):
        assert agrees(value, printed)
    assert agrees(fit.std_errors[1], "0.1743541")
    assert agrees(fit.likelihood_ratio.statistic, "14.67")
    assert agrees(fit.wald.statistic, "13.98")
    assert agrees(fit.score.statistic, "14.24")
    assert agrees(fit.concordance, "0.612")


def test_proportional_hazards_in_lung_cancer(agrees: Agrees) -> None:
    """Same vignette, cox.zph print, verified."""
    held = proportional_hazards_test(fit_lung())
    for term, printed in (("age", "0.5077"), ("sex", "2.5489"), ("wt.loss", "0.0144")):
        assert agrees(held.by_term[term].statistic, printed)
    assert agrees(held.overall.statistic, "3.0051")
    assert held.overall.df == 3


def test_proportional_hazards_in_ovarian_cancer(agrees: Agrees) -> None:
    """R package survival, reference output of the example of cox.zph, verified."""
    ovarian = table("survival_ovarian")
    terms = ("age", "ecog.ps")
    fit = fit_cox(ovarian.select(terms), ovarian["futime"], ovarian["fustat"], names=terms)
    held = proportional_hazards_test(fit)
    assert agrees(held.by_term["age"].statistic, "0.698")
    assert agrees(held.by_term["ecog.ps"].statistic, "2.371")
    assert agrees(held.overall.statistic, "3.633")


def test_terms_of_several_columns_are_tested_together() -> None:
    """All columns as one term is the overall test; a single column is its own."""
    fit = fit_lung()
    held = proportional_hazards_test(fit, terms={"all": fit.names, "sex": ("sex",)})
    assert held.by_term["all"].statistic == pytest.approx(held.overall.statistic)
    assert held.by_term["all"].df == 3
    alone = proportional_hazards_test(fit).by_term["sex"]
    assert held.by_term["sex"].statistic == pytest.approx(alone.statistic)


def test_leukaemia_maintenance(agrees: Agrees) -> None:
    """R package survival, reference output "doaml", verified."""
    aml = table("aml")
    fit = fit_cox((aml["x"] == "Nonmaintained").cast(int).to_frame(), aml["time"], aml["status"])
    assert agrees(fit.coefficients[0], "0.9155")
    assert agrees(fit.std_errors[0], "0.5119")
    assert agrees(fit.likelihood_ratio.statistic, "3.38")


def test_recidivism(agrees: Agrees) -> None:
    """lifelines documentation, Survival Regression, summary of the Rossi data, verified."""
    rossi = table("rossi")
    terms = ("fin", "age", "race", "wexp", "mar", "paro", "prio")
    fit = fit_cox(rossi.select(terms), rossi["week"], rossi["arrest"], names=terms)
    assert agrees(fit.log_likelihood, "-658.75")
    assert agrees(fit.likelihood_ratio.statistic, "33.27")
    assert agrees(fit.coefficients[0], "-0.38")
    assert agrees(fit.coefficients[6], "0.09")
    assert agrees(fit.concordance, "0.64")


def test_bladder_recurrences_with_clusters_and_late_entry(agrees: Agrees) -> None:
    """Andersen-Gill fit, R package survival, reference output "bladder", verified.

    Wei, Lin, Weissfeld 1989.
    """
    bladder = table("survival_bladder2")
    terms = ("rx", "size", "number")
    fit = fit_cox(
        bladder.select(terms), bladder["stop"], bladder["event"],
        entry=bladder["start"], cluster=bladder["id"], ties="breslow", names=terms,
    )  # fmt: skip
    for value, printed in zip(fit.coefficients, ("-0.45979", "-0.04256", "0.17164"), strict=True):
        assert agrees(value, printed)
    assert agrees(np.sqrt(fit.covariance_model[0, 0]), "0.19996")
    for value, printed in zip(fit.std_errors, ("0.25801", "0.07555", "0.06131"), strict=True):
        assert agrees(value, printed)
    assert agrees(fit.likelihood_ratio.statistic, "16.77")
    assert agrees(fit.wald.statistic, "11.76")
    assert agrees(fit.score.statistic, "18.57")
    assert agrees(fit.robust_score.statistic, "11.44")
    assert agrees(fit.concordance, "0.634")
    assert fit.clusters == bladder["id"].n_unique()


def test_bladder_marginal_model_of_each_recurrence(agrees: Agrees) -> None:
    """Marginal fit (a stratum per recurrence, own treatment effects), same output, verified."""
    bladder = table("survival_bladder")
    bladder = bladder.filter(pl.col("enum") < 5)
    x = np.column_stack(
        [bladder[name].to_numpy() * (bladder["enum"].to_numpy() == k)
         for name in ("rx", "size", "number") for k in (1, 2, 3, 4)]
    ).astype(float)  # fmt: skip
    fit = fit_cox(
        x, bladder["stop"], bladder["event"], strata=bladder["enum"], cluster=bladder["id"],
        ties="breslow",
    )  # fmt: skip
    for value, printed in zip(
        fit.coefficients[:4], ("-0.5176209", "-0.6194404", "-0.6998771", "-0.6507935"), strict=True
    ):
        assert agrees(value, printed)
    for value, printed in zip(
        np.diag(fit.covariance)[:4], ("0.09455501", "0.13242834", "0.17235879", "0.2398112"),
        strict=True,
    ):  # fmt: skip
        assert agrees(value, printed)


def test_strata_with_seven_rows(agrees: Agrees) -> None:
    """R package survival, first example of coxph, reference output, verified."""
    time, event = [4, 3, 1, 1, 2, 2, 3], [1, 1, 1, 0, 1, 1, 0]
    x, sex = [[0], [2], [1], [1], [1], [0], [0]], [0, 0, 0, 0, 1, 1, 1]
    fit = fit_cox(x, time, event, strata=sex)
    assert agrees(fit.coefficients[0], "0.8023")
    assert agrees(fit.std_errors[0], "0.8224")
    assert agrees(fit.likelihood_ratio.statistic, "1.09")


def test_granulomatous_disease_by_hospital_category(agrees: Agrees) -> None:
    """R package survival, vignette, stratified coxph of the cgd data, verified."""
    cgd = table("survival_cgd")
    x = cgd.select(
        treat=(pl.col("treat") == "rIFN-g").cast(float),
        inherit=(pl.col("inherit") == "autosomal").cast(float),
        steroids=pl.col("steroids").cast(float),
        age=pl.col("age").cast(float),
    )
    fit = fit_cox(x, cgd["tstop"], cgd["status"], entry=cgd["tstart"], strata=cgd["hos.cat"])
    for value, printed in zip(
        fit.coefficients, ("-1.113", "0.430", "1.258", "-0.036"), strict=True
    ):
        assert agrees(value, printed)
    assert agrees(fit.std_errors[0], "0.267")
    assert agrees(fit.likelihood_ratio.statistic, "31")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"event": [1, 2, 0, 1]}, "event must hold 0 and 1 only, got 2"),
        ({"time": [1.0, -2.0, 3.0, 4.0]}, "time must not be negative, got -2"),
        ({"time": [1.0, float("nan"), 3.0, 4.0]}, "time must be finite"),
        ({"entry": [0.0, 2.0, 0.0, 0.0]}, r"entry must be before time .* got 2 and 2 in row 1"),
        ({"weights": [1.0, 1.0, -1.0, 1.0]}, "weights must not be negative"),
        ({"weights": [0.0, 0.0, 0.0, 0.0]}, "weights must be above zero"),
        ({"event": [1, 0, 1]}, "event must have 4 rows, got 3"),
        ({"x": [[1.0], [float("inf")], [2.0], [0.0]]}, "x must be finite"),
        ({"cluster": ["a", "b", "c"]}, r"cluster must have shape \(4,\)"),
        ({"names": ("a", "b")}, "names must name 1 columns"),
    ],
)
def test_bad_input_is_refused_by_name(change: dict[str, object], message: str) -> None:
    good: dict[str, object] = {
        "x": [[1.0], [0.0], [2.0], [0.5]], "time": [1.0, 2.0, 3.0, 4.0], "event": [1, 1, 0, 1]
    }  # fmt: skip
    with pytest.raises(ValueError, match=message):
        fit_cox(**(good | change))  # pyright: ignore[reportArgumentType]


def separated_rows() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(4)
    x = np.column_stack(
        (rng.normal(size=240), rng.random(240) < 0.4, rng.integers(2015, 2025, 240))
    )
    time = rng.integers(1, 60, 240)
    event = (rng.random(240) < 0.3) & (x[:, 1] == 0)
    return x, time, event


def test_a_term_that_separates_in_time_gets_no_number() -> None:
    x, time, event = separated_rows()
    fit = fit_cox(x, time, event, cluster=np.arange(240) // 2, names=("a", "b", "year"))
    assert fit.separated == ("b",)
    assert "separation" in fit.concerns
    assert np.isnan(fit.coefficients[1])
    assert np.isnan(fit.std_errors[1])
    assert np.isnan(fit.wald.statistic)
    assert np.isfinite(fit.coefficients[[0, 2]]).all()


def test_other_terms_of_a_separated_fit_are_those_without_the_rows_it_frees() -> None:
    """A level without events has no hazard: the rest is the fit among the other rows."""
    x, time, event = separated_rows()
    whole = fit_cox(x, time, event, names=("a", "b", "year"))
    others = x[:, 1] == 0
    rest = fit_cox(x[others][:, [0, 2]], time[others], event[others])
    assert whole.coefficients[[0, 2]] == pytest.approx(rest.coefficients, rel=1e-6)
    assert whole.std_errors[[0, 2]] == pytest.approx(rest.std_errors, rel=1e-6)


def test_perfect_order_in_time_is_separation() -> None:
    """The riskiest row fails first, every time: the likelihood rises for ever."""
    x = np.sort(np.random.default_rng(1).normal(size=60))[::-1, None] * 1e-3 + 1e3
    fit = fit_cox(x, np.arange(1.0, 61.0), np.ones(60))
    assert fit.separated == ("x1",)
    assert np.isnan(fit.coefficients).all()


def test_redundant_columns_are_named_before_the_fit() -> None:
    x, time, event = separated_rows()
    doubled = fit_cox(np.column_stack((x[:, [0, 2]], 2 * x[:, 0] - 7)), time, event)
    assert [item.name for item in doubled.redundant] == ["x3"]
    assert doubled.redundant[0].because == ("x1",)
    assert "collinear" in doubled.concerns
    assert np.isnan(doubled.coefficients).all()
    constant = fit_cox(np.column_stack((x[:, 0], np.full(240, 2020.0))), time, event)
    assert constant.redundant[0].because == ()
    assert not constant.converged


def test_without_events_the_fit_says_so() -> None:
    x, time, event = separated_rows()
    fit = fit_cox(x, time, np.zeros_like(event))
    assert fit.concerns == ("no_events", "not_identified")
    assert fit.events == 0
    assert np.isnan(fit.coefficients).all()


def test_few_events_and_few_clusters_are_concerns() -> None:
    x, time, event = separated_rows()
    fit = fit_cox(x[:, [0, 2]], time, event & (np.arange(240) % 4 == 0), cluster=np.arange(240) % 9)
    assert fit.concerns == ("few_events_per_parameter", "few_clusters")


def test_cluster_score_test_is_the_robust_score_of_the_fit() -> None:
    bladder = table("survival_bladder2")
    start, patient = bladder["start"], bladder["id"]
    x, time, event = bladder.select("rx"), bladder["stop"], bladder["event"]
    test = cluster_score_test(x, time, event, entry=start, cluster=patient)
    fit = fit_cox(x, time, event, entry=start, cluster=patient)
    assert test.statistic == pytest.approx(fit.robust_score.statistic)
    assert test.df == 1
