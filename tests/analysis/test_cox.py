"""Cox regression on published data."""

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


def test_cluster_score_test_is_the_robust_score_of_the_fit() -> None:
    bladder = table("survival_bladder2")
    start, patient = bladder["start"], bladder["id"]
    x, time, event = bladder.select("rx"), bladder["stop"], bladder["event"]
    test = cluster_score_test(x, time, event, entry=start, cluster=patient)
    fit = fit_cox(x, time, event, entry=start, cluster=patient)
    assert test.statistic == pytest.approx(fit.robust_score.statistic)
    assert test.df == 1
