"""The surgeon's page: risks per 100 by weight band and grade, pale where too few stifles stand."""

from collections.abc import Sequence

from markupsafe import Markup

from pipeline.report.blocks import Section, paragraph
from pipeline.report.labels import Labels
from pipeline.report.material import Material
from pipeline.report.rows import distinct, of
from pipeline.report.sentences import concern_texts
from pipeline.report.tables import EMPTY, Cell, Line, Table, as_html
from pipeline.report.text import HIDDEN, day_text, estimate_and_interval, fixed, whole
from shared.estimate import Estimate

PER_100 = "per_100"
ALL = "all"
FEWEST = 20  # stifles below which a risk is pale; where the results give no number, none is shown


def surgeon_sections(material: Material) -> list[Section]:
    """One section per outcome, and how to read them."""
    risks = of(material.rows, "risk", analysis=PER_100)
    rechecks = of(material.rows, "proportion", analysis=PER_100)
    reading = Section("reading", "How to read this page", "How to read", tuple(_reading()))
    sections = [
        _outcome_section(outcome, risks, rechecks, material.labels)
        for outcome in distinct(row.outcome for row in risks)
    ]
    if not sections:
        nothing = paragraph("These data gave no risks by weight and grade.")
        sections = [Section("risks", "Risks", "Risks", (nothing,))]
    return [reading, *sections]


def risk_grid(
    outcome: str, risks: Sequence[Estimate], rechecks: Sequence[Estimate], labels: Labels
) -> Table:
    """Risks per 100 by weight band (lines) and grade (columns), with the share rechecked."""
    own = [row for row in risks if row.outcome == outcome]
    grades = _all_last(distinct(row.level for row in (*own, *rechecks)))
    bands = _all_last(distinct(row.group for row in (*own, *rechecks)))
    found = {(row.group, row.level): row for row in own}
    seen = {(row.group, row.level): row for row in rechecks}
    lines = tuple(
        Line(
            "All weights" if band == ALL else labels.level("weight_band", band),
            tuple(_cell(found.get((band, grade)), seen.get((band, grade))) for grade in grades),
        )
        for band in bands
    )
    titles = ("All grades" if grade == ALL else labels.level("grade_preop", grade)
              for grade in grades)  # fmt: skip
    day = next((row.day for row in own if row.day is not None), 365.0)
    return Table(
        id=f"per-100-{outcome}".replace("_", "-"),
        caption=f"{labels.outcome(outcome)} within {day_text(day)}, of 100 stifles (95% interval)",
        columns=("Weight at surgery", *titles), lines=lines,
    )  # fmt: skip


def _outcome_section(
    outcome: str, risks: Sequence[Estimate], rechecks: Sequence[Estimate], labels: Labels
) -> Section:
    label = labels.outcome(outcome)
    table = as_html(risk_grid(outcome, risks, rechecks, labels))
    return Section(f"risk-{outcome}".replace("_", "-"), label, label, (table,))


def _reading() -> list[Markup]:
    return [
        paragraph(
            "Find the weight and the grade before surgery. The first number is how many of 100 "
            "such stifles had the event, the interval what could be true. Under it stand the "
            "stifles it rests on and how many of 100 that could have been rechecked in days 184 "
            "to 365 were: where few were looked at, troubles were overlooked, or only the "
            "troubled came back."
        ),
        paragraph(
            f"A pale cell rests on fewer than {FEWEST} stifles: too few to lean on. An empty cell "
            "means that no such stifle was operated. Techniques are not told apart here."
        ),
    ]


def _cell(row: Estimate | None, recheck: Estimate | None) -> Cell:
    if row is None:
        return EMPTY
    detail = "few stifles" if row.n is None else f"{whole(row.n)} stifles"
    if recheck is not None and recheck.estimate is not None:
        detail += f"\n{fixed(100 * recheck.estimate, 0)} of 100 rechecked"
    few = (row.n or 0) < FEWEST and not HIDDEN & set(row.concerns)
    text = "too few" if few and row.estimate is None else estimate_and_interval(row)
    concerns = () if few else concern_texts(row)
    return Cell(text, row.row_id, detail=detail, concerns=concerns, pale=few)


def _all_last(names: Sequence[str]) -> list[str]:
    return [*(name for name in names if name != ALL), *(name for name in names if name == ALL)]
