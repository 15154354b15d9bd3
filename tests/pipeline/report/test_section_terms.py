"""What a question says of its terms: effects by another term, curves, risks of profiles."""

import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from pipeline.analyse import run_analyses
from pipeline.plan import parse_analyses
from pipeline.report.figures import drawing
from pipeline.report.material import Material
from pipeline.report.pictures import Pictures
from pipeline.report.section_quality import quality_section
from pipeline.report.section_terms import term_blocks
from tests.pipeline.analyses.conftest import BY_YEAR, invent_cohort

BLOCK = {
    "id": "year", "model": "logistic", **BY_YEAR, "resamples": 0, "diagnostics": ["collinearity"],
    "spline": {"log_weight_kg": 3}, "interactions": [["sulcoplasty_type", "grade_preop"]],
    "profiles": {"grade 4": {"grade_preop": 4},
                 "block, young": {"sulcoplasty_type": "block_recession", "age_months": 12}},
}  # fmt: skip


@pytest.fixture(scope="module")
def written(fitted: Callable[..., Material]) -> Material:
    return fitted(BLOCK)


@pytest.fixture(scope="module")
def page(written: Material) -> str:
    with drawing():
        return "".join(term_blocks(written.analyses[0], written, Pictures()))


def test_effects_curves_and_profiles_have_their_tables(page: str) -> None:
    for name in ("by-other-year", "spline-year-log-weight-kg", "profiles-year"):
        assert f'id="{name}"' in page
    assert page.count("Grade before surgery: ") == 3  # grades 2, 3 and 4
    assert re.search(r"do not hang on each other \(Wald\): .*p [=&]", page)


def test_every_number_has_the_address_of_its_row(page: str, written: Material) -> None:
    known = {row.row_id for row in written.rows}
    printed = set(re.findall(r'data-row="([^"]+)"', page))
    assert {row for row in printed if not row.startswith("curves/")} <= known
    told = {row.row_id for row in written.rows if row.measure in ("odds_ratio_at", "profile_risk")}
    assert len(told) == 6
    assert told <= printed


def test_a_profile_that_names_its_arm_has_its_risk_in_that_column(page: str) -> None:
    line = next(part for part in page.split("<tr") if "block, young" in part)
    wedge, block, _ = line.split("<td")[1:]
    assert "data-row" not in wedge
    assert "block_recession" in block


def test_collinearity_stands_with_the_fit(written: Material) -> None:
    found = quality_section(written, Pictures())
    assert found is not None
    assert 'id="collinear-year"' in "".join(found.blocks)


def test_the_curve_of_a_model_with_random_intercepts_is_drawn_too(
    changed: Callable[..., Material], material: Material
) -> None:
    block = {"id": "learning", "model": "mixed_logistic", "outcome": "relux_by_365",
             "horizon": [365], "adjust_for": ["log_weight_kg"], "spline": {"log_weight_kg": 3},
             "adjustments": ["adjusted"], "random_intercept": "clinic_id"}  # fmt: skip
    done = run_analyses(invent_cohort(), parse_analyses([block]), codebook={},
                        on_step=lambda _name: None)  # fmt: skip
    study = replace(material.study, analyses=(block,), clinics=("lake", "north", "valley"))
    here = changed(results=done.results, curves=done.curves, study=study)
    with drawing():
        page = "".join(term_blocks(here.analyses[0], here, Pictures()))
    assert 'id="spline-learning-log-weight-kg"' in page
    assert "odds ratio against the median" in page
