"""The sentence on the variance of a frailty."""

from dataclasses import replace
from pathlib import Path

import polars as pl

from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analysis
from pipeline.report.material import Material
from pipeline.report.section_frailty import frailties
from pipeline.report.text import estimate_and_interval
from shared.estimate import row_id

KIDNEY = Path(__file__).parents[3] / "shared" / "published" / "kidney.csv"
PLAN = {"id": "x", "event": "status", "time": "time", "adjust_for": ["age"]}


def test_the_variance_stands_with_its_limits_and_its_test(material: Material) -> None:
    asked = parse_analysis({**PLAN, "model": "frailty", "random_intercept": "id"})
    found = run_analysis(pl.read_csv(KIDNEY), asked).rows
    rows = tuple(replace(row, row_id=row_id(row)) for row in found)
    (said,) = frailties(asked, replace(material, rows=rows))
    variance = next(row for row in rows if row.measure == "frailty_variance")
    test = next(row for row in rows if row.level == "no_variance")
    assert estimate_and_interval(variance) in said
    assert variance.row_id in said
    assert test.row_id in said


def test_a_model_without_a_frailty_says_nothing(material: Material) -> None:
    plain = parse_analysis({**PLAN, "model": "cox"})
    assert not frailties(plain, material)
