"""Whether the answer stands when rules are changed, and when held stifles are counted."""

from collections.abc import Sequence

from markupsafe import Markup

from pipeline.plan import Analysis
from pipeline.report.blocks import Section, fold, paragraph
from pipeline.report.cells import count_cell
from pipeline.report.counts import count_id
from pipeline.report.effects import effect_name, effect_rows, last_ratios
from pipeline.report.labels import SETS, Labels, small
from pipeline.report.material import Material, Question
from pipeline.report.rows import number, of
from pipeline.report.sentences import concern_texts, versus
from pipeline.report.tables import Cell, Line, Table, as_html
from pipeline.report.text import estimate_and_interval, whole
from shared.estimate import Estimate

HELD_AS_EVENT, HELD_AS_FREE = "_held_event", "_held_free"
EXTREMES = (
    "Below, what the answer would be if all whose outcome is held had had the event, and if "
    "none had."
)
SEEN = "seen free within {days} days before the day counts as followed to it"
TARGETS = {
    "outcome:reluxation": "Reluxation",
    "outcome:implant": "Implant complications",
    "outcome:all": "All outcomes",
}


def sensitivity_section(material: Material) -> Section:
    """Show each primary ratio beside what other rules give."""
    blocks = [
        paragraph(
            "Each line answers the same question under another rule that was named beforehand. "
            "An answer that holds in all lines is sturdier than one that hangs on a rule."
        )
    ]
    blocks += [as_html(table) for table in sensitivity_tables(material)]
    return Section("sensitivity", "Does the answer hold?", "Sensitivity", tuple(blocks))


def sensitivity_tables(material: Material) -> list[Table]:
    """Give one table per question that has sensitivity analyses."""
    return [
        _question_table(question, material)
        for question in material.questions
        if any(_answer(item, material.rows) for item in _rules(question))
    ]


def held_section(material: Material) -> Section:
    """Say how many stifles wait for an answer, and what the two extremes would give."""
    blocks = [paragraph(held_sentence(material))]
    if len(material.counts.holds):
        blocks.append(held_tables(material))
    blocks += [as_html(table) for table in bound_tables(material)]
    return Section("held", "Stifles that wait for an answer", "Held stifles", tuple(blocks))


def bound_tables(material: Material) -> list[Table]:
    """Give what each question's answer would be at the two extremes of the held stifles."""
    tables: list[Table] = []
    for question in material.questions:
        bounds = [item for item in question.sensitivities if _is_bound(item)]
        lines = [line for item in bounds for line in _bound_lines(item, material)]
        if lines:
            title = versus(question.lead, material.labels)
            tables.append(_table(f"held-{question.id}", title, lines))
    return tables


def held_sentence(material: Material) -> Markup:
    """Say how many holds there are."""
    holds = material.counts.holds
    if not len(holds):
        return Markup(EXTREMES if bound_tables(material) else "No stifle waits for an answer.")
    return Markup(
        "{} outcomes or values of single stifles are unknown until a clinic answers a question; "
        "they are never counted as free of the event. " + EXTREMES
    ).format(number(whole(int(holds["n"].sum())), count_id("holds", "all")))


def held_tables(material: Material) -> Markup:
    """Held stifles by what is held and by clinic: outcomes first, variables on demand."""
    targets = sorted(set(material.counts.holds["target"].to_list()))
    outcomes = [target for target in targets if target in TARGETS]
    others = [target for target in targets if target not in TARGETS]
    parts = Markup("")
    if outcomes:
        parts += as_html(_held_table(outcomes, "Outcomes held, stifles by clinic", material))
    if others:
        caption = "Variables held, stifles by clinic"
        parts += fold(caption, as_html(_held_table(others, caption, material)))
    return parts


def _held_table(targets: Sequence[str], caption: str, material: Material) -> Table:
    holds = material.counts.holds
    clinics = holds["clinic_id"].unique().sort().to_list()
    found = {(row["target"], row["clinic_id"]): row["n"] for row in holds.iter_rows(named=True)}
    lines = tuple(
        Line(
            TARGETS.get(target, material.labels.name(target)),
            tuple(
                Cell(whole(found.get((target, clinic), 0)), count_id("holds", clinic, target))
                for clinic in clinics
            ),
        )
        for target in targets
    )
    columns = ("What is held", *(material.labels.clinic(clinic) for clinic in clinics))
    table_id = "held-outcomes" if targets[0] in TARGETS else "held-variables"
    return Table(id=table_id, caption=caption, columns=columns, lines=lines)


def _is_bound(analysis: Analysis) -> bool:
    return (analysis.event or "").endswith((HELD_AS_EVENT, HELD_AS_FREE))


def _rules(question: Question) -> list[Analysis]:
    """Give the analyses under other rules; the bounds of held stifles have their own section."""
    return [item for item in question.sensitivities if not _is_bound(item)]


def main_effects(analysis: Analysis, rows: Sequence[Estimate]) -> list[Estimate]:
    """Give the adjusted ratios of an analysis, or the crude ones where it has no others.

    What the plan asks for comes first; what stands beside it (unpenalised) is left out.
    """
    ratios = last_ratios(analysis, rows)
    shown = [row for row in ratios if row.adjustment != "crude"] or ratios
    return [row for row in shown if row.model == shown[0].model]


def rule_title(analysis: Analysis, labels: Labels) -> str:
    """Say what is particular to an analysis: its outcome and who is in it."""
    outcome = labels.name(analysis.event or analysis.outcome or "")
    among = [SETS[analysis.population]] if analysis.population else []
    among += [small(labels.name(column)) for column in analysis.where]
    if analysis.seen_within_days:
        among.append(SEEN.format(days=analysis.seen_within_days))
    return f"{outcome}; {' and '.join(among)}" if among else outcome


def _question_table(question: Question, material: Material) -> Table:
    primary = [
        item
        for item in question.analyses
        if item.role == "primary" and _answer(item, material.rows)
    ]
    lines = [line for item in primary for line in _lines(item, material, first="As planned: ")]
    lines += [line for item in _rules(question) for line in _lines(item, material)]
    return _table(f"sensitivity-{question.id}", versus(question.lead, material.labels), lines)


def _table(table_id: str, title: str, lines: Sequence[Line]) -> Table:
    return Table(
        id=table_id,
        caption=f"{title}: adjusted",
        columns=("Rule", "Measure", "Estimate (95% interval)", "Stifles", "Events"),
        lines=tuple(lines),
    )


def _bound_lines(analysis: Analysis, material: Material) -> list[Line]:
    """Difference of the last day first, then the ratios."""
    rows = material.rows
    title = rule_title(analysis, material.labels)
    return [_line(title, row) for row in (*_last_differences(analysis, rows),
                                          *main_effects(analysis, rows))]  # fmt: skip


def _last_differences(analysis: Analysis, rows: Sequence[Estimate]) -> list[Estimate]:
    """Give the risk differences of the last day that are not crude."""
    differences = of(effect_rows(rows, analysis), "risk_difference")
    last = max((row.day or 0.0 for row in differences), default=None)
    return [row for row in differences if row.day == last and row.adjustment != "crude"]


def _answer(analysis: Analysis, rows: Sequence[Estimate]) -> list[Estimate]:
    """Give the ratios of an analysis, or the risk differences of one that has no ratio."""
    return main_effects(analysis, rows) or _last_differences(analysis, rows)


def _lines(analysis: Analysis, material: Material, *, first: str = "") -> list[Line]:
    title = rule_title(analysis, material.labels)
    said = first + small(title) if first else title
    return [_line(said, row) for row in _answer(analysis, material.rows)]


def _line(title: str, row: Estimate) -> Line:
    return Line(
        title,
        (
            Cell(effect_name(row)),
            Cell(estimate_and_interval(row), row.row_id, concerns=concern_texts(row)),
            count_cell(row.n, row.row_id),
            count_cell(row.events, row.row_id),
        ),
    )
