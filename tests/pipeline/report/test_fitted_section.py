"""The part of a question that shows which distribution of days fits."""

from dataclasses import replace
from pathlib import Path

import polars as pl

from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analysis
from pipeline.report.figures import drawing
from pipeline.report.material import Material, Question
from pipeline.report.pictures import Pictures
from pipeline.report.section_fitted import aic_table, distributions_section
from shared.estimate import Estimate, row_id

LUNG = Path(__file__).parents[3] / "shared" / "published" / "survival_lung.csv"
ANALYSIS = parse_analysis(
    {"id": "days", "model": "parametric_survival", "time": "time", "event": "event",
     "adjust_for": ["age"], "horizon": [183, 365]}
)  # fmt: skip


def with_fits(material: Material) -> tuple[Material, list[Estimate]]:
    frame = pl.read_csv(LUNG, null_values="NA").with_columns(event=pl.col("status") - 1)
    fitted = run_analysis(frame, ANALYSIS)
    rows = tuple(replace(row, row_id=row_id(row)) for row in fitted.rows)
    return replace(material, rows=rows, curves=fitted.curves), [
        row for row in rows if row.measure == "aic"
    ]


def test_the_distribution_with_the_least_aic_stands_at_nil(material: Material) -> None:
    ours, rows = with_fits(material)
    table = aic_table(rows, ANALYSIS, ours)
    above = {str(line.header): line.cells[1].text for line in table.lines if line.cells}
    assert list(above) == ["Weibull", "Log-normal", "Log-logistic", "Generalised gamma"]
    assert min(float(str(text)) for text in above.values()) == 0
    assert {row.row_id for row in rows} == {
        cell.row_id for line in table.lines for cell in line.cells[:2]
    }


def test_the_picture_holds_every_distribution_and_the_rows_without_one(material: Material) -> None:
    ours, _ = with_fits(material)
    question = Question(id="q", text="?", role="primary", analyses=(ANALYSIS,), sensitivities=())
    with drawing():
        pictures = Pictures()
        blocks = distributions_section(question, ours, pictures)
    assert [item.name for item in pictures.drawn] == ["fitted-days"]
    lines = pictures.drawn[0].figure.axes[0].lines
    assert len(lines) == 5
    words = {text.get_text() for text in pictures.drawn[0].figure.axes[0].texts}
    assert words == {"without a model", "Weibull", "Log-normal", "Log-logistic",
                     "Generalised gamma"}  # fmt: skip
    assert "Akaike" in "".join(blocks)


def test_a_question_without_a_distribution_has_no_such_part(material: Material) -> None:
    assert not distributions_section(material.questions[0], material, Pictures())
