"""The section on how well models describe the cases: its tables, words and addresses."""

import re
from collections.abc import Callable
from dataclasses import replace

import pytest
from markupsafe import Markup

from pipeline.analyse import run_analyses
from pipeline.plan import parse_analyses
from pipeline.report.blocks import Section
from pipeline.report.figures import drawing
from pipeline.report.material import Material
from pipeline.report.pictures import Pictures
from pipeline.report.public import public_material
from pipeline.report.section_quality import quality_section
from pipeline.report.section_unknown import unknown_section
from tests.pipeline.analyses.conftest import BY_YEAR, invent_cohort

BLOCK = {"id": "year", "model": "logistic", **BY_YEAR, "resamples": 20, "diagnostics": True}


@pytest.fixture(scope="module")
def judged(changed: Callable[..., Material], material: Material) -> Material:
    """What the pages are written from, for one logistic model of an invented cohort."""
    done = run_analyses(invent_cohort(), parse_analyses([BLOCK]), codebook={},
                        on_step=lambda _name: None)  # fmt: skip
    study = replace(material.study, analyses=(BLOCK,), clinics=("lake", "north", "valley"))
    return changed(results=done.results, curves=done.curves, study=study)


@pytest.fixture(scope="module")
def section(judged: Material) -> Section:
    with drawing():
        found = quality_section(judged, Pictures())
    assert found is not None
    return found


def test_pairs_of_stifles_are_told_in_words(section: Section) -> None:
    text = " ".join(block.striptags() for block in section.blocks)
    told = r"\d\d in its own stifles, \d\d after correction for optimism, \d\d in clinics that"
    assert re.search(rf"Of 100 pairs of stifles.* {told} it has not seen; 50 would", text)


def test_every_number_has_the_address_of_its_row(section: Section, judged: Material) -> None:
    known = {row.row_id for row in judged.rows}
    printed = set(re.findall(r'data-row="([^"]+)"', "".join(section.blocks)))
    assert {row for row in printed if not row.startswith("curves/")} <= known
    told = {row.row_id for row in judged.rows if row.state in ("apparent", "corrected", "left_out")}
    assert told <= printed


def test_curve_and_tables_by_clinic_and_animal_are_there(section: Section) -> None:
    page = "".join(section.blocks)
    for name in ("quality-year", "calibration-year", "left-out-year", "influence-year"):
        assert f'id="{name}"' in page
    assert "Without one animal" in page


def test_nothing_is_said_where_nothing_is_asked(material: Material) -> None:
    assert quality_section(material, Pictures()) is None


def test_no_clinic_and_no_single_animal_is_published(judged: Material) -> None:
    rows = public_material(judged).rows
    assert not {"observed_expected", "odds_ratio_without"} & {row.measure for row in rows}
    assert any(row.measure == "concordance" for row in rows)


def test_extremes_of_unknown_outcomes_have_a_section_with_addresses(judged: Material) -> None:
    found = unknown_section(judged)
    assert found is not None
    page = "".join(found.blocks)
    for name in ("unknown-year", "known-year", "weights-year"):
        assert f'id="{name}"' in page
    known = {row.row_id for row in judged.rows}
    printed = set(re.findall(r'data-row="([^"]+)"', page))
    assert printed <= known
    extremes = {row.row_id for row in judged.rows if (row.state or "").startswith("unknown_")
                and row.measure in ("risk", "risk_difference")}  # fmt: skip
    assert extremes <= printed
    assert "Worst: unknown are events, but none with wedge recession" in Markup(page).striptags()
