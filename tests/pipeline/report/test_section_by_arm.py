"""Means by arm and day in a question's part of the report."""

from dataclasses import replace
from pathlib import Path

import polars as pl

from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analysis
from pipeline.report.effects import effect_table
from pipeline.report.figures import drawing
from pipeline.report.material import Material
from pipeline.report.pictures import Pictures
from pipeline.report.section_by_arm import arm_table, arm_tables
from pipeline.report.section_curves import curves_of
from pipeline.report.text import estimate_and_interval
from shared.estimate import Estimate, row_id

AML = Path(__file__).parents[3] / "shared" / "published" / "aml.csv"
ANALYSIS = parse_analysis(
    {"id": "means", "model": "restricted_mean", "time": "time", "event": "status", "exposure": "x",
     "levels": ["Nonmaintained", "Maintained"], "horizon": [12, 28]}
)  # fmt: skip


def fitted() -> tuple[Estimate, ...]:
    rows = run_analysis(pl.read_csv(AML), ANALYSIS).rows
    return tuple(replace(row, row_id=row_id(row)) for row in rows)


def test_means_and_differences_stand_in_one_table_with_their_rows(material: Material) -> None:
    rows = fitted()
    table = arm_table(rows, ANALYSIS, material, measure="restricted_mean")
    assert table.columns == ("Up to", "Nonmaintained", "Maintained", "Difference: maintained")
    assert [line.header for line in table.lines] == ["day 12", "day 28"]
    by_id = {row.row_id: row for row in rows}
    for line in table.lines:
        assert [by_id[cell.row_id].measure for cell in line.cells] == [
            "restricted_mean", "restricted_mean", "restricted_mean_difference",
        ]  # fmt: skip
        for cell in line.cells:
            assert cell.text == estimate_and_interval(by_id[cell.row_id])


def test_the_ratio_stands_among_the_ratios(material: Material) -> None:
    table = effect_table(fitted(), [ANALYSIS], material.labels, table_id="x")
    ratios = [line.header for line in table.lines if line.cells]
    assert ratios == ["Ratio of mean days free of the event at day 12, crude",
                      "Ratio of mean days free of the event at day 28, crude"]  # fmt: skip


def test_an_analysis_without_means_has_no_table(material: Material) -> None:
    assert not arm_tables(material.questions[0].lead, material)


COUNTS = parse_analysis(
    {"id": "counts", "model": "mean_cumulative_count", "time": "stop", "entry": "start",
     "event": "event", "exposure": "rx", "levels": ["1", "2"], "cluster": "id", "horizon": [24]}
)  # fmt: skip


def test_counts_of_arms_are_drawn_above_a_hundred(material: Material) -> None:
    fit = run_analysis(pl.read_csv(AML.with_name("survival_bladder2.csv")), COUNTS)
    rows = tuple(replace(row, row_id=row_id(row)) for row in fit.rows)
    ours = replace(material, rows=rows, curves=fit.curves)
    table = arm_table(rows, COUNTS, ours, measure="mean_count")
    assert table.columns[1] == "All"
    assert [(cell.text, cell.detail) for cell in table.lines[0].cells[:1]] == [
        ("120.4 (91.3 to 158.7)", "87 found in 85"),
    ]  # fmt: skip
    with drawing():
        pictures = Pictures()
        text = "".join(curves_of(COUNTS, ours, pictures))
    assert "this is a mean count, not a risk" in text
    assert pictures.drawn[0].figure.axes[0].get_ylim()[1] > 144


def test_stretches_are_not_called_stifles(material: Material) -> None:
    for table, detail in (("cohort", ""), ("recurrent", "stretches between complications")):
        shown = effect_table(
            fitted(), [replace(ANALYSIS, table=table)], material.labels, table_id="x"
        )
        numbers = [line.cells[2] for line in shown.lines if line.cells]
        assert [(cell.text, cell.detail) for cell in numbers] == [("23", detail)] * 2
