"""How it was done, from what, under which statements, and what was changed afterwards."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from markupsafe import Markup

from pipeline.report.blocks import Section, bullets, fold, paragraph, terms
from pipeline.report.material import Material
from pipeline.report.methods import methods_of, methods_paragraphs
from pipeline.report.tables import Cell, Line, Table, as_html

STATEMENTS = {
    "ethics": "Ethics",
    "consent": "Owners' consent",
    "agreement": "Data agreement between clinics",
    "funding": "Funding",
}


def methods_section(material: Material) -> Section:
    """Say how the numbers came about."""
    blocks = [paragraph(text) for text in methods_paragraphs(material)]
    named = methods_of(material.rows)
    if named:
        blocks.append(
            fold(
                "Methods as each row of the results names them",
                bullets([material.labels.words(text) for text in named]),
            )
        )
    return Section("methods", "How it was done", "Methods", tuple(blocks))


def definitions_section(material: Material, *, dictionary: str = "") -> Section:
    """Define what was analysed, with the words of the codebook; `dictionary` is a link."""
    columns: dict[str, None] = {}
    for item in material.analyses:
        for column in (item.event, item.outcome, item.exposure, *item.adjust_for):
            if column:
                columns.setdefault(column)
    pairs = [
        (known.label, small_stop(known.definition))
        for column in columns
        if (known := material.labels.variables.get(column)) and known.definition
    ]
    blocks = [terms(pairs)] if pairs else [paragraph("The plan names no variable.")]
    if dictionary:
        text = Markup(
            "Every variable, with its codes and limits, stands in the dictionary of the study's "
            'tables: <a href="{}">cohort dictionary</a>.'
        ).format(dictionary)
        blocks.append(paragraph(text))
    return Section("definitions", "What the words mean", "Definitions", tuple(blocks))


def statements_section(material: Material) -> Section:
    """Print the statements of the study, or that they are not stated."""
    said = asdict(material.study.statements)
    pairs = [(title, said[name]) for name, title in STATEMENTS.items()]
    return Section("statements", "Statements", "Statements", (terms(pairs),))


def deviations_section(material: Material) -> Section:
    """List what of the plan was changed after the first analysis."""
    changes = [str(change) for change in material.run_info.get("deviations", ())]
    blocks = (
        [paragraph("Changed after the first analysis of this study:"), bullets(changes)]
        if changes
        else [paragraph("The plan was not changed after the first analysis of this study.")]
    )
    return Section("deviations", "Deviations from the plan", "Deviations", tuple(blocks))


def provenance_section(material: Material) -> Section:
    """Say from what and with what this report was made."""
    info = material.run_info
    blocks = [
        paragraph(
            f"Seed {material.study.seed}; "
            f"codebook {material.study.codebook_version or 'not named'}."
        )
    ]
    for key, title in (
        ("data_lock", "Date each clinic's export was drawn"),
        ("versions", "Versions"),
        ("fingerprints", "SHA-256 of every file the study is made of"),
    ):
        if info.get(key):
            blocks.append(as_html(_pairs_table(key, title, info[key])))
    single = {key: value for key, value in sorted(info.items()) if isinstance(value, str)}
    if single:
        blocks.append(fold("More of this run", as_html(_pairs_table("run", "This run", single))))
    return Section("provenance", "Where this comes from", "Provenance", tuple(blocks))


def _pairs_table(key: str, title: str, pairs: Mapping[str, Any]) -> Table:
    lines = tuple(Line(str(name), (Cell(_value(value)),)) for name, value in sorted(pairs.items()))
    return Table(id=f"run-{key.replace('_', '-')}", caption=title, columns=("Name", "Value"),
                 lines=lines)  # fmt: skip


def _value(value: object) -> Markup:
    return Markup("<code>{}</code>").format(value)


def small_stop(text: str) -> str:
    """End a definition with a full stop."""
    return text if text.endswith((".", ")")) else f"{text}."
