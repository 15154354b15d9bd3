"""The report: pages, figures and tables, from the results and nothing else."""

from pathlib import Path

from markupsafe import Markup

from pipeline.flow import flow_svg
from pipeline.report import blocks
from pipeline.report.answers import brief_section
from pipeline.report.blocks import Link, Section
from pipeline.report.figures import drawing
from pipeline.report.material import Material
from pipeline.report.pictures import Pictures
from pipeline.report.save_tables import save_tables
from pipeline.report.section_about import (
    definitions_section,
    deviations_section,
    methods_section,
    provenance_section,
    statements_section,
)
from pipeline.report.section_accrual import accrual_section
from pipeline.report.section_arms import arms_section, overlap_section, precision_section
from pipeline.report.section_clinics import clinics_section
from pipeline.report.section_courses import courses_section
from pipeline.report.section_follow_up import follow_up_section, missing_section
from pipeline.report.section_forest import forest_section
from pipeline.report.section_happened import happened_section
from pipeline.report.section_limits import limits_section
from pipeline.report.section_quality import quality_section
from pipeline.report.section_results import question_section
from pipeline.report.section_sensitivity import held_section, sensitivity_section
from pipeline.report.section_study import asked_section, design_line, flow_section, rows_strip
from pipeline.report.section_technique import technique_section
from pipeline.report.section_unknown import unknown_section
from pipeline.report.surgeon_page import surgeon_sections
from shared.files import write_text


def write_report(out: Path, material: Material) -> list[Path]:
    """Write ``report/`` below `out`; give the files written, the page first."""
    folder = out / "report"
    pictures = Pictures()
    with drawing():
        sections = report_sections(material, pictures)
        saved = pictures.save(folder / "figures")
    pages = {
        "index.html": blocks.page(
            title=material.study.title, design=design_line(material), lead=[rows_strip(material)],
            contents=[*sections, Link("surgeon.html", "For the surgeon")], sections=sections,
            imprint=imprint(material),
        ),
        "surgeon.html": surgeon_page(material),
    }  # fmt: skip
    for name, text in pages.items():
        write_text(folder / name, text)
    return [*(folder / name for name in pages), *saved, *save_tables(material, folder / "tables")]


def report_sections(material: Material, pictures: Pictures) -> list[Section]:
    """Put the report together in the order in which a reader asks."""
    quality, unknown = quality_section(material, pictures), unknown_section(material)
    return [
        brief_section(material),
        asked_section(material),
        flow_section(material, Markup(flow_svg(material.flow))),
        accrual_section(material, pictures),
        arms_section(material, pictures),
        missing_section(material, pictures),
        follow_up_section(material),
        overlap_section(material),
        technique_section(material),
        precision_section(material),
        *(question_section(question, material, pictures) for question in material.questions),
        forest_section(material, pictures),
        *([quality] if quality else []),
        sensitivity_section(material),
        held_section(material),
        *([unknown] if unknown else []),
        happened_section(material),
        courses_section(material, pictures),
        clinics_section(material, pictures),
        limits_section(material),
        methods_section(material),
        definitions_section(material, dictionary="../cohort_dictionary.csv"),
        deviations_section(material),
        statements_section(material),
        provenance_section(material),
    ]


def surgeon_page(material: Material) -> str:
    """Write the page for the surgeon."""
    sections = surgeon_sections(material)
    return blocks.page(
        title=f"For the surgeon: {material.study.title}", design=design_line(material), lead=[],
        contents=[*sections, Link("index.html", "The whole report")], sections=sections,
        imprint=imprint(material),
    )  # fmt: skip


def imprint(material: Material) -> str:
    """Say at the foot of a page what it belongs to."""
    return (
        f"{material.study.title}. Every number on this page carries the address of the row of the "
        "results it was read from."
    )
