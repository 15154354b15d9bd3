"""Tests of whole terms against R: drop1, anova and the penalised likelihood climbed by Newton."""

from importlib.resources import files

import numpy as np
import polars as pl
import pytest

from analysis.design import Terms, build_design
from analysis.dropped_terms import drop_each, drop_each_penalised
from analysis.firth import fit_firth
from analysis.logistic import fit_logistic
from tests.analysis.r_values import r_values

PUBLISHED = files("shared") / "published"
BIRTHS = pl.read_csv(str(PUBLISHED / "birthwt.csv"))
ENDOMETRIAL = pl.read_csv(str(PUBLISHED / "endometrial.csv"))
R = r_values("binary_dropped_terms")
Design = tuple[np.ndarray, dict[str, list[int]]]


def births(*columns: str, spline: dict[str, int] | None = None) -> Design:
    asked = Terms(columns=columns, categorical={"race": "1"} if "race" in columns else {},
                  spline=spline or {})  # fmt: skip
    design = build_design(BIRTHS, asked)
    return design.matrix, {name: list(design.places(name)) for name in columns}


def test_factors_and_splines_are_tested_as_a_whole() -> None:
    x, terms = births("smoke", "race", "age", "lwt", spline={"lwt": 3})
    found = drop_each(x, BIRTHS["low"], terms)
    for name in terms:
        tests = found[name]
        wanted = R["birthwt", f"{name} likelihood ratio"], R["birthwt", f"{name} score"]
        assert tests.likelihood_ratio.statistic == pytest.approx(wanted[0], rel=1e-8)
        assert tests.score.statistic == pytest.approx(wanted[1], rel=1e-8)
    assert found["race"].score.df == found["lwt"].likelihood_ratio.df == 2


def test_drop1_of_r_agrees() -> None:
    """To 1e-6: its score rests on the weights of the last step but one."""
    x, terms = births("smoke", "race", "age")
    for name, tests in drop_each(x, BIRTHS["low"], terms).items():
        wanted = R["drop1", f"{name} likelihood ratio"], R["drop1", f"{name} score"]
        assert tests.likelihood_ratio.statistic == pytest.approx(wanted[0], rel=1e-6)
        assert tests.score.statistic == pytest.approx(wanted[1], rel=1e-6)


def test_weights_count_as_rows() -> None:
    x, terms = births("smoke", "race", "age")
    weights = 1 + BIRTHS["ftv"].to_numpy()
    found = drop_each(x, BIRTHS["low"], terms, weights=weights)
    for name in ("race", "age"):
        wanted = R["birthwt weighted", f"{name} likelihood ratio"]
        assert found[name].likelihood_ratio.statistic == pytest.approx(wanted, rel=1e-8)
        wanted = R["birthwt weighted", f"{name} score"]
        assert found[name].score.statistic == pytest.approx(wanted, rel=1e-8)
    rows = np.repeat(np.arange(len(x)), weights)
    repeated = drop_each(x[rows], BIRTHS["low"].to_numpy()[rows], terms)
    assert repeated["age"].score.statistic == pytest.approx(found["age"].score.statistic, rel=1e-9)


def test_all_terms_at_once_are_the_tests_of_the_fit() -> None:
    x, _ = births("smoke", "race", "age")
    found = drop_each(x, BIRTHS["low"], {"all": range(4)})["all"]
    fit = fit_logistic(x, BIRTHS["low"])
    assert found.likelihood_ratio.statistic == pytest.approx(fit.likelihood_ratio.statistic)
    assert found.score.statistic == pytest.approx(fit.score.statistic)


def test_a_term_that_separates_has_a_score_test_and_a_penalised_one() -> None:
    x = ENDOMETRIAL.select("NV", "PI", "EH").to_numpy().astype(float)
    y = ENDOMETRIAL["HG"].to_numpy().astype(float)
    terms = {"NV": [0], "PI": [1], "EH": [2]}
    found = drop_each(x, y, terms)["NV"]
    assert np.isnan(found.likelihood_ratio.statistic)
    assert found.score.statistic == pytest.approx(R["endometrial", "NV score"], rel=1e-5)
    for name, test in drop_each_penalised(x, y, terms).items():
        wanted = R["endometrial penalised", f"{name} penalised"]
        assert test.statistic == pytest.approx(wanted, rel=1e-6)


def test_penalised_tests_of_whole_terms_agree_with_r() -> None:
    x, terms = births("smoke", "race", "age")
    found = drop_each_penalised(x, BIRTHS["low"], terms)
    for name in terms:
        wanted = R["birthwt penalised", f"{name} penalised"]
        assert found[name].statistic == pytest.approx(wanted, rel=1e-6)
    assert found["race"].df == 2
    single = fit_firth(x, BIRTHS["low"]).tests[1]
    assert found["smoke"].statistic == pytest.approx(single.statistic, rel=1e-8)


def test_one_outcome_only_is_refused() -> None:
    with pytest.raises(ValueError, match="y must hold both outcomes"):
        drop_each(np.eye(3), np.zeros(3), {"a": [0]})
