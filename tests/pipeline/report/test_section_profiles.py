"""Risks of named stifles by a Cox model in the report: one line a profile and day."""

import re
from collections.abc import Callable
from dataclasses import replace

import polars as pl

from pipeline.analyse import run_analyses
from pipeline.plan import parse_analyses
from pipeline.report.material import Material
from pipeline.report.section_terms import profile_table
from pipeline.report.tables import as_html
from tests.pipeline.analyses.conftest import invent_cohort

BLOCK = {
    "id": "named", "model": "cox", "time": "relux_day", "event": "found",
    "exposure": "sulcoplasty_type", "levels": ["wedge_recession", "block_recession"],
    "adjust_for": ["grade_preop"], "horizon": [91, 365], "cluster": "animal_id",
    "profiles": {"grade 4": {"grade_preop": 4}},
}  # fmt: skip


def test_each_day_has_its_line_and_each_number_its_row(
    changed: Callable[..., Material], material: Material
) -> None:
    cohort = invent_cohort().with_columns(found=pl.col("relux_state") == "reluxation")
    done = run_analyses(cohort, parse_analyses([BLOCK]), codebook={}, on_step=lambda _name: None)
    study = replace(material.study, analyses=(BLOCK,), clinics=("lake", "north", "valley"))
    written = changed(results=done.results, curves=done.curves, study=study)
    table = profile_table(written.rows, written.analyses[0], written.labels)
    assert [line.header for line in table.lines] == [
        "grade 4, by 3 months", "grade 4, by 12 months"
    ]  # fmt: skip
    page = as_html(table)
    told = {row.row_id for row in written.rows if row.measure == "profile_risk"}
    assert len(told) == 4
    assert told <= set(re.findall(r'data-row="([^"]+)"', page))
    assert "Stifles behind it" in page
    assert "as it is among all stifles" not in page
