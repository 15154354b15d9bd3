"""What was asked, what became of every row, and who was studied."""

import polars as pl
from markupsafe import Markup

from pipeline.report.blocks import Section, Text, bullets, fold, heading, paragraph, strip
from pipeline.report.counts import count_id
from pipeline.report.labels import SETS, listed, plain, small
from pipeline.report.material import Material, Question
from pipeline.report.rows import flow_id, number
from pipeline.report.sentences import adjusted_for, versus
from pipeline.report.tables import Cell, Line, Table, as_html
from pipeline.report.text import day_text, whole

LEDGER = (("mapped", "became table rows"), ("set_aside", "set aside: copies, tests, totals"),
          ("unreadable", "could not be read"))  # fmt: skip
FATES = (("accepted", "accepted"), ("stopped", "stopped until answered"), ("merged", "merged"))
UNITS = ("operations", "animals", "stifles")


def design_line(material: Material) -> Markup:
    """Say the design in one line, as an abstract would."""
    last = _totals(material.flow).row(-1, named=True)
    counts = [number(whole(last[unit]), flow_id(last["step"], "all", unit)) for unit in UNITS]
    clinics = number(whole(len(material.study.clinics)), count_id("clinics", "all"))
    return Markup(
        "A retrospective cohort from the records of {} clinics: {} stifles of {} animals, each "
        "followed from the day of its first patellar surgery."
    ).format(clinics, counts[2], counts[1])


def rows_strip(material: Material) -> Markup:
    """Show that every row received has one fate, and every accepted stifle too."""
    sums = material.counts.ledger.select(pl.col(pl.Int64).sum()).row(0, named=True)
    parts: list[tuple[str, Text, str]] = [
        ("", _ledger_number(sums["source_rows"], "source_rows"), "rows received")
    ]
    for place, (name, words) in enumerate(LEDGER):
        parts.append(("+" if place else "=", _ledger_number(sums[name], name), words))
    return strip(parts) + stifles_strip(material)


def stifles_strip(material: Material) -> Markup:
    """Show accepted stifles = included + those that left at each step."""
    totals = _totals(material.flow)
    start, end = totals.row(0, named=True), totals.row(-1, named=True)
    parts: list[tuple[str, Text, str]] = [
        ("", _flow_number(start, "stifles"), "operated stifles accepted"),
        ("=", _flow_number(end, "stifles"), "studied"),
    ]
    left = [step for step in totals.iter_rows(named=True) if step["left_stifles"]]
    parts += [("+", _flow_number(step, "left_stifles"), small(step["why"])) for step in left]
    return strip(parts)


def asked_section(material: Material) -> Section:
    """Say the questions as they were asked before the analysis."""
    blocks = [paragraph(material.study.question)]
    for question in material.questions:
        blocks.append(heading(_question_title(question)))
        blocks.append(bullets(_question_facts(question, material)))
    return Section("asked", "What was asked", "Questions", tuple(blocks))


def flow_section(material: Material, diagram: Markup) -> Section:
    """Show who left at which step and why, as a diagram and as a table."""
    blocks = [
        diagram,
        fold("The same as a table", as_html(flow_table(material.flow))),
        fold("The same by clinic", as_html(flow_by_clinic(material))),
        fold("What became of every row, by clinic", fates(material)),
    ]
    return Section("flow", "Who was studied", "Flow", tuple(blocks))


def flow_table(flow: pl.DataFrame) -> Table:
    """Operations, animals and stifles left at each step."""
    lines = tuple(
        Line(
            step["label"],
            (
                *(Cell(_shown(step[unit]), flow_id(step["step"], "all", unit)) for unit in UNITS),
                Cell(_shown(step["left_stifles"]), flow_id(step["step"], "all", "left_stifles")),
                Cell(step["why"] or "", words=True),
            ),
        )
        for step in _totals(flow).iter_rows(named=True)
    )
    return Table(
        id="flow-table", caption="From operations to the stifles studied",
        columns=("Step", "Operations", "Animals", "Stifles", "Stifles that left here", "Why"),
        lines=lines,
    )  # fmt: skip


def flow_by_clinic(material: Material) -> Table:
    """Stifles left at each step, by clinic."""
    flow = material.flow.filter(pl.col("clinic_id") != "all")
    clinics = flow["clinic_id"].unique().sort().to_list()
    found = {(row["step"], row["clinic_id"]): row for row in flow.iter_rows(named=True)}
    lines = tuple(
        Line(
            step["label"],
            tuple(
                Cell(
                    _shown(found[step["step"], clinic]["stifles"]),
                    flow_id(step["step"], clinic, "stifles"),
                )
                if (step["step"], clinic) in found
                else Cell("")
                for clinic in clinics
            ),
        )
        for step in _totals(material.flow).iter_rows(named=True)
    )
    return Table(
        id="flow-clinics", caption="Stifles left at each step, by clinic",
        columns=("Step", *(material.labels.clinic(clinic) for clinic in clinics)), lines=lines,
    )  # fmt: skip


def fates(material: Material) -> Markup:
    """Show both sums of the checks by clinic."""
    return as_html(_received_table(material)) + as_html(_rows_table(material))


def _received_table(material: Material) -> Table:
    names = ("source_rows", *(name for name, _ in LEDGER))
    lines = tuple(
        Line(
            material.labels.clinic(row["clinic_id"]),
            tuple(
                Cell(whole(row[name]), count_id("ledger", row["clinic_id"], name)) for name in names
            ),
        )
        for row in material.counts.ledger.iter_rows(named=True)
    )
    words = ("Rows received", *(f"{'+ ' if place else '= '}{words}"
                                for place, (_, words) in enumerate(LEDGER)))  # fmt: skip
    return Table(
        id="received", caption="Rows of the clinics' files", columns=("Clinic", *words), lines=lines
    )


def _rows_table(material: Material) -> Table:
    summed = material.counts.ledger_rows.group_by("table", maintain_order=True).agg(
        pl.col(pl.Int64).sum()
    )
    names = ("made", "derived", *(name for name, _ in FATES))
    lines = tuple(
        Line(
            plain(row["table"]),
            tuple(Cell(whole(row[name]), count_id("rows", row["table"], name)) for name in names),
        )
        for row in summed.iter_rows(named=True)
    )
    ends = (f"{'+ ' if place else '= '}{words}" for place, (_, words) in enumerate(FATES))
    words = ("Made from rows", "+ derived", *ends)
    return Table(
        id="fates", caption="Rows of the study's tables, all clinics", columns=("Table", *words),
        lines=lines,
    )  # fmt: skip


def _question_title(question: Question) -> str:
    return f"{plain(question.role)} question: {question.text}"


def _question_facts(question: Question, material: Material) -> list[str]:
    lead, labels = question.lead, material.labels
    facts = [f"Compared: {versus(lead, labels)}."] if versus(lead, labels) else []
    timed = next((item for item in question.analyses if item.event_of_interest), lead)
    looked_at = labels.outcome(timed.event or timed.outcome, timed.event_of_interest)
    facts.append(f"Outcome: {small(looked_at)}.")
    days = sorted({day for item in question.analyses for day in item.horizon})
    if days:
        facts.append(f"Looked at {listed(day_text(day) for day in days)} after surgery.")
    sets = [SETS[item.population] for item in question.analyses if item.population]
    if sets:
        facts.append(f"Among: {sets[0]}.")
    adjusted = max(question.analyses, key=lambda item: len(item.adjust_for))
    if adjusted.adjust_for:
        facts.append(f"Adjusted for {adjusted_for(adjusted, labels)}.")
    return facts


def _totals(flow: pl.DataFrame) -> pl.DataFrame:
    return flow.filter(pl.col("clinic_id") == "all").sort("step")


def _shown(count: int | None) -> str:
    return "" if count is None else whole(count)


def _flow_number(step: dict[str, int], unit: str) -> Markup:
    return number(whole(step[unit]), flow_id(step["step"], "all", unit))


def _ledger_number(count: int, name: str) -> Markup:
    return number(whole(count), count_id("ledger", "all", name))
