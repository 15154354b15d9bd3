"""What may be published: results without clinics and small counts, and a report made of them."""

from dataclasses import replace
from pathlib import Path

import polars as pl

from pipeline.report import blocks
from pipeline.report.answers import brief_section
from pipeline.report.blocks import Section
from pipeline.report.counts import CheckedCounts
from pipeline.report.figures import drawing
from pipeline.report.material import Material
from pipeline.report.pictures import Pictures
from pipeline.report.public_rows import public_flow, public_rows
from pipeline.report.section_about import (
    definitions_section,
    deviations_section,
    methods_section,
    statements_section,
)
from pipeline.report.section_accrual import accrual_section
from pipeline.report.section_arms import arms_section
from pipeline.report.section_forest import forest_section
from pipeline.report.section_happened import happened_section
from pipeline.report.section_limits import limits_section
from pipeline.report.section_results import question_section
from pipeline.report.section_sensitivity import held_section, sensitivity_section
from pipeline.report.section_study import asked_section, design_line, flow_table
from pipeline.report.surgeon_page import surgeon_sections
from pipeline.report.tables import as_html
from shared.estimate import results_frame
from shared.files import write_csv, write_text


def write_public(out: Path, material: Material) -> list[Path]:
    """Write ``public/results.csv`` and ``public/report.html`` below `out`."""
    material = public_material(material)
    folder = out / "public"
    write_csv(folder / "results.csv", results_frame(material.rows))
    with drawing():
        write_text(folder / "report.html", _page(material))
    return [folder / "report.html", folder / "results.csv"]


def public_material(material: Material) -> Material:
    """Reduce the material to what may be published."""
    smallest = material.study.privacy.small_cell
    rows = public_rows(material.rows, material.study.clinics, smallest=smallest)
    nothing = material.counts
    return replace(
        material,
        rows=rows,
        flow=public_flow(material.flow, smallest=smallest),
        curves=_public_curves(material, smallest),
        courses=None,
        counts=CheckedCounts(
            ledger=nothing.ledger.clear(), ledger_rows=nothing.ledger_rows.clear(),
            findings=nothing.findings.clear(), asked=nothing.asked.clear(),
            holds=nothing.holds.clear(), refused=nothing.refused.clear(),
            allowed=nothing.allowed.clear(),
        ),
    )  # fmt: skip


def _public_curves(material: Material, smallest: int) -> pl.DataFrame:
    """Keep the curves of analyses in which every arm has enough events and stifles at risk."""
    kept: list[str] = []
    for item in material.analyses:
        last = max(item.horizon, default=0.0)
        own = material.curves.filter(
            (pl.col("analysis") == item.id)
            & (pl.col("state").is_null() | (pl.col("state") == (item.event_of_interest or "")))
            & (pl.col("day") <= last)
        )
        arms = own.group_by("group").agg(pl.col("n_events").sum(), pl.col("n_at_risk").min())
        if len(arms) and not arms.filter(pl.any_horizontal(
            pl.col("n_events", "n_at_risk") < smallest
        )).height:  # fmt: skip
            kept.append(item.id)
    single = pl.col("curve").str.starts_with("over_time")  # a dot is one event
    return material.curves.filter(pl.col("analysis").is_in(kept) & ~single)


def _page(material: Material) -> str:
    sections = _sections(material)
    return blocks.page(
        title=material.study.title, design=design_line(material), contents=sections, lead=[],
        sections=sections,
        imprint="Without clinics and surgeons. Counts from 1 to 4 are shown as “<5”; what would "
        "reveal them is hidden.",
    )  # fmt: skip


def _sections(material: Material) -> list[Section]:
    pictures = Pictures()
    flow = Section("flow", "Who was studied", "Flow", (as_html(flow_table(material.flow)),))
    return [
        brief_section(material),
        asked_section(material),
        flow,
        accrual_section(material, pictures),
        arms_section(material, pictures),
        *(question_section(question, material, pictures) for question in material.questions),
        forest_section(material, pictures),
        sensitivity_section(material),
        held_section(material),
        happened_section(material),
        *surgeon_sections(material),
        limits_section(material),
        methods_section(material),
        definitions_section(material),
        deviations_section(material),
        statements_section(material),
    ]
