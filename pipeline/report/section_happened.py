"""What happened, counted by kind and time frame, beside the definitions of the outcomes."""

from collections.abc import Sequence

from pipeline.report.blocks import Section, fold, paragraph
from pipeline.report.labels import Labels, plain
from pipeline.report.material import Material
from pipeline.report.rows import distinct, of
from pipeline.report.tables import EMPTY, Cell, Line, Table, as_html
from pipeline.report.text import count_of
from shared.estimate import Estimate

SOURCES = {
    "complication": ("Complications recorded by the clinics", "complication_type"),
    "revision": ("Reasons of further operations", "revision_reason"),
    "palpation": ("Found on palpation at a recheck", "patella_grade"),
    "end": ("Ends of life or limb", "end_status"),
}


def happened_section(material: Material) -> Section:
    """Count outcomes and events."""
    blocks = [
        paragraph(
            "Counts of stifles, whatever their follow-up: they are no risks. A stifle counts once "
            "in a line and time frame. Days 1 to 91 are perioperative, to 183 short term, to 365 "
            "mid term, later long term."
        )
    ]
    table = outcome_table(material)
    classes = (class_table(material), recurrent_table(material))
    blocks += [as_html(made) for made in (table, *classes) if made.lines]
    rows = of(material.rows, "count", analysis="events")
    for source in distinct(row.state for row in rows):
        events = _event_table([row for row in rows if row.state == source], source, material.labels)
        blocks.append(fold(events.caption, as_html(events)))
    severity = severity_table(material)
    if severity.lines:
        blocks.append(as_html(severity))
    return Section("happened", "What happened", "Complications", tuple(blocks))


def outcome_table(material: Material) -> Table:
    """First events of each outcome by time frame, with the definition of the outcome."""
    rows = of(material.rows, "count", analysis="outcomes")
    frames = distinct(row.level for row in rows if row.state)
    lines: list[Line] = []
    for outcome in distinct(row.outcome for row in rows if row.state or row.term):
        lines += _outcome_lines(
            [row for row in rows if row.outcome == outcome], outcome, frames, material.labels
        )
    columns = ("Outcome", "At risk", "All", *(plain(frame) for frame in frames))
    return Table(
        id="outcomes", caption="First event of each outcome, by time frame", columns=columns,
        lines=tuple(lines),
    )  # fmt: skip


def class_table(material: Material) -> Table:
    """Stifles by outcomes that are yes or no by a day, by severity and by function."""
    rows = of(material.rows, "count", analysis="outcomes")
    rows = [row for row in rows if not row.state and not row.term]
    lines: list[Line] = []
    for outcome in distinct(row.outcome for row in rows):
        found = {row.level: row for row in rows if row.outcome == outcome}
        some = next(iter(found.values()))
        variable = material.labels.variables.get(outcome)
        unknown = Cell(f"{some.n} known, {some.n_dropped} not", some.row_id)
        lines.append(Line(material.labels.outcome(outcome), (unknown,)))
        if variable and variable.definition:
            lines += _definition(variable.definition, 1)
        codes = [code for code in (variable.codes if variable else ()) if code in found]
        lines += [Line(material.labels.level(outcome, level), (_cell(found[level]),), indented=True)
                  for level in distinct((*codes, *found))]  # fmt: skip
    return Table(
        id="outcome-classes", caption="Outcomes by a day, worst severity and function: stifles",
        columns=("Outcome", "Stifles"), lines=tuple(lines),
    )  # fmt: skip


def recurrent_table(material: Material) -> Table:
    """Complications in counting form: stretches at risk, and how often one stifle had them."""
    rows = of(material.rows, "count", analysis="recurrent")
    names = {"stretches": "Stretches of time at risk", "days": "Days with a complication",
             "complications": "Complications on them"}  # fmt: skip
    lines = [
        Line(names.get(row.term or "") or f"Stifles with {row.level} such days", (_cell(row),))
        for row in rows
    ]
    declared = [material.labels.variables.get(name) for name in ("start_day", "stop_day")]
    declared.append(material.labels.variables.get("complication"))
    for variable in declared if rows else ():
        if variable:
            lines += [Line(variable.label), *_definition(variable.definition, 1)]
    return Table(
        id="recurrent", caption="Complications that came again, in counting form",
        columns=("What", "Number"), lines=tuple(lines),
        notes=("The stretches stand in recurrent.csv; those of held stifles are left out.",),
    )  # fmt: skip


def severity_table(material: Material) -> Table:
    """Complications after surgery by type and severity."""
    rows = of(material.rows, "count", analysis="severity")
    classes = distinct(row.level for row in rows)
    found = {(row.term, row.level): row for row in rows}
    lines = tuple(
        Line(
            _event_name(term, "complication_type", material.labels),
            tuple(_cell(found.get((term, level))) for level in (None, *classes)),
        )
        for term in distinct(row.term for row in rows)
    )
    return Table(
        id="severity", caption="Complications after surgery, by type and severity: stifles",
        columns=("Type", "All", *(material.labels.level("severity_class", level)
                                  for level in classes)),
        lines=lines,
        notes=("Need of treatment decides the class (Cook et al. 2010, wording from memory). A "
               "stifle counts once in a type and class.",),
    )  # fmt: skip


def _outcome_lines(
    rows: Sequence[Estimate], outcome: str, frames: Sequence[str], labels: Labels
) -> list[Line]:
    variable = labels.variables.get(f"{outcome}_state")
    event = next(iter(variable.codes)) if variable else outcome
    risk = next((row for row in rows if row.term == "at_risk"), None)
    found = {row.level: row for row in rows if row.state == event}
    cells = [_cell(risk), _cell(found.get(None)), *(_cell(found.get(frame)) for frame in frames)]
    title = labels.outcome(outcome)
    if variable and variable.definition:
        return [Line(title, tuple(cells)), *_definition(variable.definition, len(cells))]
    return [Line(title, tuple(cells))]


def _definition(text: str, width: int) -> list[Line]:
    wide = Cell(text, words=True, span=width)
    return [Line("Definition", (wide,), indented=True)]


def _event_table(rows: Sequence[Estimate], source: str | None, labels: Labels) -> Table:
    title, variable = SOURCES.get(source or "", (plain(source or ""), ""))
    frames = distinct(row.level for row in rows)
    found = {(row.term, row.level): row for row in rows}
    lines = tuple(
        Line(
            _event_name(event, variable, labels),
            (_cell(found.get((event, None))), *(_cell(found.get((event, f))) for f in frames)),
        )
        for event in distinct(row.term for row in rows)
    )
    return Table(
        id=f"events-{source}", caption=title,
        columns=("Event", "All", *(plain(frame) for frame in frames)), lines=lines,
    )  # fmt: skip


def _event_name(event: str, variable: str, labels: Labels) -> str:
    known = labels.variables.get(variable)
    if known and event in known.codes:
        return known.codes[event]
    return labels.outcome(event)


def _cell(row: Estimate | None) -> Cell:
    return EMPTY if row is None else Cell(count_of(row), row.row_id)
