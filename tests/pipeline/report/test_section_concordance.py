"""Concordances of a Cox model in the report."""

from dataclasses import replace
from pathlib import Path

import polars as pl

from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analysis
from pipeline.report.material import Material
from pipeline.report.section_concordance import concordances
from shared.estimate import row_id

BLADDER = Path(__file__).parents[3] / "shared" / "published" / "survival_bladder2.csv"


def said(material: Material, **asked: object) -> str:
    analysis = parse_analysis(
        {"id": "x", "model": "cox", "time": "stop", "event": "event", "adjust_for": ["rx", "size"],
         "cluster": "id", **asked}
    )  # fmt: skip
    frame = pl.read_csv(BLADDER).filter(pl.col("enum") == 1)
    rows = tuple(replace(row, row_id=row_id(row)) for row in run_analysis(frame, analysis).rows)
    return "".join(concordances(analysis, replace(material, rows=rows)))


def test_both_are_said_with_their_rows(material: Material) -> None:
    text = said(material, horizon=[12])
    assert 'Harrell\'s <span data-row="x/cox/adjusted/concordance/event">0.' in text
    assert 'up to day 12 <span data-row="x/cox/adjusted/uno_concordance/event///12">0.' in text


def test_what_is_withheld_is_said(material: Material) -> None:
    text = said(material, entry="start")
    assert "not given</span> (rows enter late)" in text


def test_other_models_have_none(material: Material) -> None:
    assert not concordances(parse_analysis({"id": "r", "model": "risks", "outcome": "y"}), material)
