"""How far an answer hangs on the day an event was found rather than the days it may have begun."""

import polars as pl
from markupsafe import Markup

from pipeline.plan import Analysis
from pipeline.report.blocks import heading, paragraph, picture
from pipeline.report.draw_between import BothCurves, draw_between
from pipeline.report.effects import risk_rows
from pipeline.report.labels import small
from pipeline.report.material import Material, Question
from pipeline.report.pictures import Pictures
from pipeline.report.rows import of
from pipeline.report.section_curves import arms_of
from pipeline.report.tables import EMPTY, Cell, Line, Table, as_html
from pipeline.report.text import day_text, estimate_and_interval, fixed
from shared.estimate import Estimate

WHY = (
    "A reluxation is found at a visit and began at some day since the visit before. Dating it by "
    "the visit makes clinics that look early seem to have early events; and stifles seen stable "
    "for the last time on a planned day leave on it, while others still wait for theirs, which "
    "puts the risk too high. The second estimate uses only what is known: free of it at one visit, "
    "not at the next. Death and other operations end follow-up there and do not compete."
)


def between_visits(question: Question, material: Material, pictures: Pictures) -> list[Markup]:
    """Put risks by the day of finding beside those by the interval, arm by arm."""
    by_day = next(
        (item for item in question.analyses if item.model == "cumulative_incidence"), None
    )
    blocks: list[Markup] = []
    for analysis in question.analyses:
        if analysis.model != "interval_censored" or by_day is None:
            continue
        both = _both(by_day, analysis, material)
        if not both or not analysis.horizon:
            continue
        outcome = material.labels.outcome(by_day.event, by_day.event_of_interest)
        table = _table(by_day, analysis, material, outcome=outcome)
        blocks += [
            heading("Found on that day, or begun between visits"),
            paragraph(WHY),
            picture(
                pictures.draw(
                    f"between-{analysis.id}", draw_between(both, analysis.horizon, outcome=outcome)
                ),
                alt=f"Two curves of {small(outcome)} an arm; their numbers stand in the table.",
                caption=f"{outcome}: full lines by the day it was found (death competing), dotted "
                "lines by the interval between two visits.",
                numbers=as_html(table),
            ),
        ]  # fmt: skip
    return blocks


def _both(by_day: Analysis, analysis: Analysis, material: Material) -> list[BothCurves]:
    curves = material.curves.filter(
        pl.col("analysis") == analysis.id, pl.col("curve") == "turnbull"
    )
    both: list[BothCurves] = []
    for arm in arms_of(by_day, material):
        points = curves.filter(pl.col("group") == arm.group).sort("day")
        if len(points):
            both.append(
                BothCurves(label=arm.label, found=arm.points, between=points, look=arm.look)
            )
    return both


def _table(by_day: Analysis, analysis: Analysis, material: Material, *, outcome: str) -> Table:
    found = {
        (row.group, row.day): row
        for row in risk_rows(material.rows, by_day)
        if row.adjustment == "crude"
    }
    between = {
        (row.level, row.day): row
        for row in of(material.rows, "risk", analysis=analysis.id)
        if (row.group or "").startswith("turnbull")
    }
    lines: list[Line] = []
    for level in analysis.levels:
        lines.append(Line(material.labels.arm(analysis.exposure or "", level)))
        for day in analysis.horizon:
            one, other = found.get((level, day)), between.get((level, day))
            lines.append(Line(day_text(day), _cells(one, other), indented=True))
    return Table(
        id=f"between-{analysis.id}", caption=f"{outcome} per 100, by the day found and by interval",
        columns=("By", "Day found (95% interval)", "Between visits (95% interval)", "Apart"),
        lines=tuple(lines),
    )  # fmt: skip


def _cells(found: Estimate | None, between: Estimate | None) -> tuple[Cell, ...]:
    cells = tuple(
        EMPTY if row is None else Cell(estimate_and_interval(row), row.row_id)
        for row in (found, between)
    )
    if found is None or between is None or found.estimate is None or between.estimate is None:
        return (*cells, EMPTY)
    apart = 100 * (between.estimate - found.estimate)
    return (*cells, Cell(fixed(apart, 1), between.row_id))
