"""What is missing, who was rechecked, and for how long stifles were followed."""

from collections.abc import Sequence

from markupsafe import Markup

from pipeline.report.baseline_table import ALL
from pipeline.report.blocks import Section, fold, paragraph
from pipeline.report.follow_up_quality import quality_blocks
from pipeline.report.labels import Labels
from pipeline.report.material import Material
from pipeline.report.missing_grid import missing_grid
from pipeline.report.pictures import Pictures
from pipeline.report.rows import distinct, of
from pipeline.report.sentences import concern_texts
from pipeline.report.tables import EMPTY, Cell, Line, Table, as_html
from pipeline.report.text import estimate_and_interval, fixed, whole
from shared.estimate import Estimate


def missing_section(material: Material, pictures: Pictures) -> Section:
    """Show what is missing, by clinic."""
    rows = of(material.rows, analysis="missing")
    planned = {column for item in material.analyses for column in item.terms}
    some = [row for row in rows if row.events]
    names = distinct(row.term for row in rows)
    used = [name for name in names if name in planned]
    others = [name for name in names if name not in planned and name in {r.term for r in some}]
    blocks = [
        paragraph(
            "Share not recorded, per 100. A value that is missing is never filled in; rows "
            "without a value that a model needs are left out of it and counted beside it."
        ),
        *missing_grid(rows, material.labels, pictures),
    ]
    for table_id, caption, chosen in (
        ("missing-plan", "Not recorded: what the plan uses", used),
        ("missing-other", "Not recorded: the other variables", others),
    ):
        table = _clinic_table(table_id, caption, rows, chosen, material.labels)
        if table.lines:
            html = as_html(table)
            blocks.append(html if chosen is used else fold(caption, html))
    return Section("missing", "What is missing", "Missing data", tuple(blocks))


def follow_up_section(material: Material) -> Section:
    """Show who was rechecked: what was not looked for is not absent."""
    blocks = [
        paragraph(
            "Rates depend on looking. Share of stifles with an adequate recheck (a veterinarian "
            "palpated the patella) in each time frame, of those operated long enough before the "
            "data lock; no rate of a clinic or an arm means anything without it."
        )
    ]
    for analysis in distinct(row.analysis for row in material.rows):
        if analysis == "rechecks":
            blocks.append(as_html(recheck_table(material)))
        elif analysis.startswith("rechecks_"):
            blocks.append(_recheck_by_arm(analysis.removeprefix("rechecks_"), material))
    medians = of(material.rows, "median", analysis="follow_up")
    if medians:
        blocks.append(as_html(_follow_up_table(medians, material.labels)))
    blocks += quality_blocks(material)
    return Section("follow-up", "Who was rechecked", "Follow-up", tuple(blocks))


def recheck_table(material: Material) -> Table:
    """Recheck completeness by clinic and time frame."""
    rows = of(material.rows, "proportion", analysis="rechecks")
    days = sorted({row.day for row in rows if row.day is not None})
    found = {(row.group, row.day): row for row in rows}
    lines = tuple(
        Line(
            "All" if clinic == ALL else material.labels.clinic(clinic),
            tuple(_share_cell(found.get((clinic, day))) for day in days),
        )
        for clinic in distinct(row.group for row in rows)
    )
    return Table(
        id="rechecks", caption="Stifles with an adequate recheck, per 100 (95% interval)",
        columns=("Clinic", *_frames(days)), lines=lines,
    )  # fmt: skip


def _frames(days: Sequence[float]) -> tuple[str, ...]:
    starts = [1.0, *(day + 1 for day in days)]
    return tuple(
        f"Days {whole(start)} to {whole(day)}" for start, day in zip(starts, days, strict=False)
    )


def _recheck_by_arm(exposure: str, material: Material) -> Markup:
    rows = of(material.rows, "proportion", analysis=f"rechecks_{exposure}")
    all_rows = [row for row in rows if row.group == ALL]
    clinics = [row for row in rows if row.group != ALL]
    name = f"{material.labels.name(exposure)}: rechecked by clinic and arm"
    together = as_html(_arm_table(all_rows, exposure, material.labels, ending="all"))
    return together + fold(
        name, as_html(_arm_table(clinics, exposure, material.labels, ending="clinics"))
    )


def _arm_table(rows: Sequence[Estimate], exposure: str, labels: Labels, *, ending: str) -> Table:
    days = sorted({row.day for row in rows if row.day is not None})
    found = {(row.group, row.level, row.day): row for row in rows}
    lines: list[Line] = []
    for clinic in distinct(row.group for row in rows):
        if clinic != ALL:
            lines.append(Line(labels.clinic(clinic)))
        for level in distinct(row.level for row in rows):
            cells = tuple(_share_cell(found.get((clinic, level, day))) for day in days)
            lines.append(Line(labels.arm(exposure, level), cells, indented=clinic != ALL))
    return Table(
        id=f"rechecks-{exposure}-{ending}".replace("_", "-"),
        caption=f"{labels.name(exposure)}: stifles with an adequate recheck, per 100",
        columns=("Arm", *_frames(days)), lines=tuple(lines),
    )  # fmt: skip


def _follow_up_table(rows: Sequence[Estimate], labels: Labels) -> Table:
    outcomes = distinct(row.outcome for row in rows)
    found = {(row.group, row.outcome): row for row in rows}
    lines = tuple(
        Line(
            "All" if clinic == ALL else labels.clinic(clinic),
            tuple(_days_cell(found.get((clinic, outcome))) for outcome in outcomes),
        )
        for clinic in distinct(row.group for row in rows)
    )
    return Table(
        id="follow-up-days", caption="Median follow-up in days (95% interval)",
        columns=("Clinic", *(labels.outcome(outcome) for outcome in outcomes)), lines=lines,
        notes=("Reverse Kaplan-Meier: how long stifles would have been followed without events.",),
    )  # fmt: skip


def _days_cell(row: Estimate | None) -> Cell:
    if row is None:
        return EMPTY
    detail = "" if row.n is None else f"{whole(row.n)} stifles"
    return Cell(estimate_and_interval(row), row.row_id, detail=detail, concerns=concern_texts(row))


def _share_cell(row: Estimate | None) -> Cell:
    if row is None:
        return EMPTY
    known = row.events is not None and bool(row.n)
    detail = f"{whole(row.events or 0)} of {whole(row.n or 0)}" if known else ""
    return Cell(estimate_and_interval(row), row.row_id, detail=detail, concerns=concern_texts(row))


def _clinic_table(
    table_id: str, caption: str, rows: Sequence[Estimate], names: Sequence[str], labels: Labels
) -> Table:
    clinics = distinct(row.group for row in rows)
    found = {(row.term, row.group): row for row in rows}
    lines = tuple(
        Line(
            labels.name(name), tuple(_missing_cell(found.get((name, clinic))) for clinic in clinics)
        )
        for name in names
    )
    titles = ("All" if clinic == ALL else labels.clinic(clinic) for clinic in clinics)
    return Table(id=table_id, caption=caption, columns=("Variable", *titles), lines=lines)


def _missing_cell(row: Estimate | None) -> Cell:
    if row is None or row.estimate is None:
        return EMPTY
    return Cell(fixed(100 * row.estimate, 0), row.row_id)
