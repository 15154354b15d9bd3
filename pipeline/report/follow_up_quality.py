"""How good the follow-up is: time seen of the time possible, visits for a problem, who was lost."""

from collections.abc import Sequence
from dataclasses import replace

from markupsafe import Markup

from pipeline.report.baseline_table import ALL, baseline_table
from pipeline.report.blocks import fold, heading, paragraph
from pipeline.report.cells import cell_of
from pipeline.report.labels import Labels
from pipeline.report.material import Material
from pipeline.report.rows import distinct, of
from pipeline.report.sentences import concern_texts
from pipeline.report.tables import EMPTY, Cell, Line, Table, as_html
from pipeline.report.text import estimate_and_interval, whole
from shared.estimate import Estimate

KINDS = ("completeness", "visits")
LOST = "lost"


def quality_blocks(material: Material) -> list[Markup]:
    """Show the tables of this module, each with what it means."""
    table = quality_table(material)
    if not table.lines:
        return []
    blocks = [
        heading("How much of the possible follow-up was seen"),
        paragraph(
            "Completeness is the time seen of the time that could have been seen up to the last "
            "horizon or the data lock (Clark 2002). Visits that a problem brought about are "
            "likelier to find one: where they are many, risks are read too high."
        ),
        as_html(table),
    ]
    lost = lost_tables(material)
    if lost:
        blocks += [
            heading("Who was lost from sight"),
            paragraph(
                "Lost: operated long enough ago, but not palpated late enough for anybody to know "
                "whether the joint reluxated by the last horizon. Where the lost differ from the "
                "followed, the risks are those of the followed."
            ),
            as_html(lost[0]),
            *(fold(table.caption, as_html(table)) for table in lost[1:]),
        ]
    return blocks


def quality_table(material: Material) -> Table:
    """Clark's index by outcome and the share of unscheduled visits, by clinic and by arm."""
    rows = [row for row in material.rows if row.analysis.split("_")[0] in KINDS]
    outcomes = distinct(row.outcome for row in rows)
    lines = [
        Line(_name(clinic, material.labels),
             _cells([row for row in of(rows) if row.group == clinic and row.level is None],
                    outcomes))
        for clinic in distinct(row.group for row in rows if row.level is None)
    ]  # fmt: skip
    exposures = distinct(item.exposure for item in material.analyses)
    for exposure in exposures:
        own = [row for row in rows if row.analysis in {f"{kind}_{exposure}" for kind in KINDS}]
        if own:
            lines.append(Line(material.labels.name(exposure)))
        lines += [
            Line(material.labels.arm(exposure, level),
                 _cells([row for row in own if row.level == level], outcomes), indented=True)
            for level in distinct(row.level for row in own)
        ]  # fmt: skip
    days = [row.day for row in rows if row.day is not None]
    return Table(
        id="follow-up-quality",
        caption="Follow-up seen of that possible, and visits for a problem, per 100 "
        "(95% interval)",
        columns=(
            "Clinic or arm", *(f"Seen: {material.labels.outcome(name)}" for name in outcomes),
            "Unscheduled visits",
        ),
        lines=tuple(lines) if rows else (),
        notes=(f"Time up to day {whole(max(days))}; a stifle that was never palpated was not seen "
               "for reluxation at all.",) if days else (),
    )  # fmt: skip


def lost_tables(material: Material) -> list[Table]:
    """Set the lost beside the followed: before surgery, then at surgery and by clinic."""
    days = distinct(row.population for row in material.rows if row.analysis == f"table1_{LOST}")
    titles = {
        "baseline": "Lost from sight and followed: before surgery",
        None: "Lost from sight and followed: what was done, where",
    }
    found = (
        (baseline_table(material.rows, LOST, material.labels, role=role), title)
        for role, title in titles.items()
    )
    return [
        replace(table, caption=f"{title} ({days[0]})") for table, title in found if table and days
    ]


def _cells(rows: Sequence[Estimate], outcomes: Sequence[str]) -> tuple[Cell, ...]:
    seen = {row.outcome: row for row in of(rows, "completeness")}
    visits = next(iter(of(rows, "proportion")), None)
    return (*(cell_of(seen.get(outcome)) for outcome in outcomes), _visit_cell(visits))


def _visit_cell(row: Estimate | None) -> Cell:
    if row is None:
        return EMPTY
    if row.n == 0:
        return Cell("not recorded", row.row_id)
    known = row.events is not None and row.n is not None
    detail = f"{whole(row.events or 0)} of {whole(row.n or 0)} visits" if known else ""
    return Cell(estimate_and_interval(row), row.row_id, detail=detail, concerns=concern_texts(row))


def _name(clinic: str, labels: Labels) -> str:
    return "All" if clinic == ALL else labels.clinic(clinic)
