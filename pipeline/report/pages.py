"""The report: pages, figures and tables, from the results and nothing else."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import polars as pl
from markupsafe import Markup

from pipeline.report import blocks
from pipeline.report.blocks import Link, Section, paragraph
from pipeline.report.counts import CheckedCounts
from pipeline.report.figures import drawing
from pipeline.report.material import Material, gather
from pipeline.report.pictures import Pictures
from pipeline.report.section_about import (
    definitions_section,
    deviations_section,
    methods_section,
    provenance_section,
    statements_section,
)
from pipeline.report.section_results import forest_section, question_section
from pipeline.report.section_study import asked_section, design_line, flow_section, rows_strip
from pipeline.study import Study
from schemas.codebook import Variable
from shared.files import write_text


def write_report(
    out: Path, *, results: pl.DataFrame, curves: pl.DataFrame, flow: pl.DataFrame, study: Study,
    codebook: Iterable[Variable], checked_counts: CheckedCounts, run_info: Mapping[str, Any],
) -> list[Path]:  # fmt: skip
    """Write ``report/`` below `out`; give the files written, the page first."""
    material = gather(
        results, curves, flow, study=study, codebook=codebook, checked_counts=checked_counts,
        run_info=run_info,
    )  # fmt: skip
    folder = out / "report"
    pictures = Pictures()
    with drawing():
        sections = report_sections(material, pictures)
        index = blocks.page(
            title=study.title, design=design_line(material), lead=[rows_strip(material)],
            contents=[*sections, Link("surgeon.html", "For the surgeon")], sections=sections,
            imprint=imprint(material),
        )  # fmt: skip
        saved = pictures.save(folder / "figures")
    write_text(folder / "index.html", index)
    return [folder / "index.html", *saved]


def report_sections(material: Material, pictures: Pictures) -> list[Section]:
    """Put the report together in the order in which a reader asks."""
    return [
        asked_section(material),
        flow_section(material, Markup("")),
        *(question_section(question, material, pictures) for question in material.questions),
        forest_section(material, pictures),
        methods_section(material),
        definitions_section(material),
        deviations_section(material),
        statements_section(material),
        provenance_section(material),
    ]


def imprint(material: Material) -> str:
    """Say at the foot of a page what it belongs to."""
    return (
        f"{material.study.title}. Every number on this page carries the address of the row of the "
        "results it was read from."
    )


__all__ = ["paragraph", "write_report"]
