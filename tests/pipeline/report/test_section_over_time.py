"""A Cox model over time in the report: figure with its scale, test, ratios without clinics."""

import re
from collections.abc import Callable

import pytest

from pipeline.report.figures import drawing
from pipeline.report.material import Material
from pipeline.report.pictures import Pictures
from pipeline.report.public import public_material
from pipeline.report.section_quality import quality_section
from pipeline.report.section_terms import term_blocks
from tests.pipeline.analyses.conftest import RELUXATION

BLOCK = {
    "id": "relux", "model": "cox", **RELUXATION, "diagnostics": True, "ph_transform": "identity",
    "horizon": [365],
}  # fmt: skip


@pytest.fixture(scope="module")
def written(fitted: Callable[..., Material]) -> Material:
    return fitted(BLOCK)


@pytest.fixture(scope="module")
def page(written: Material) -> str:
    with drawing():
        return "".join(term_blocks(written.analyses[0], written, Pictures()))


def test_the_figure_says_its_scale_and_stands_beside_the_test(page: str) -> None:
    assert page.count("<img") == 1
    assert "scaled Schoenfeld residuals of the events (dots)" in page
    assert "over days; days are named below" in page
    assert 'id="hazards-relux"' in page
    assert "All terms together" in page


def test_every_number_has_the_address_of_its_row(page: str, written: Material) -> None:
    known = {row.row_id for row in written.rows}
    printed = set(re.findall(r'data-row="([^"]+)"', page))
    assert printed
    assert {row for row in printed if not row.startswith("curves/")} <= known
    told = {row.row_id for row in written.rows if row.term == "proportional_hazards"
            and row.adjustment == "adjusted" and row.model == "cox"}  # fmt: skip
    assert told <= printed


def test_ratios_without_clinics_stand_with_the_fit_of_the_models(written: Material) -> None:
    found = quality_section(written, Pictures())
    assert found is not None
    text = "".join(found.blocks)
    assert "Hazard ratio without" in text
    assert "Odds ratio without" not in text


def test_single_events_and_clinics_left_out_are_not_published(written: Material) -> None:
    public = public_material(written)
    assert not public.curves["curve"].str.starts_with("over_time").any()
    assert not any(row.measure == "hazard_ratio_without" for row in public.rows)
