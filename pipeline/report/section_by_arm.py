"""Means of an analysis by arm and day that are no risks: days free of an event, counts of it."""

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from pipeline.plan import Analysis
from pipeline.report.labels import small
from pipeline.report.material import Material
from pipeline.report.rows import days_of, of
from pipeline.report.sentences import concern_texts
from pipeline.report.tables import EMPTY, Cell, Line, Table, as_html
from pipeline.report.text import day_text, estimate_and_interval, whole
from shared.estimate import Estimate

SHOWN: Mapping[str, tuple[str, str]] = {
    "restricted_mean": (
        "Mean days free of {outcome} up to a day (95% interval), and how many more than in the "
        "first arm",
        "Days of a stifle that has the event on day 60 count as 60. Stifles that left with another "
        "event count as lost on that day.",
    ),
    "mean_count": (
        "{outcome}, mean count per 100 up to a day (95% interval), and how many more than in the "
        "first arm",
        "A stifle may count several times. What competes, such as death, ends its counting.",
    ),
    "cumulative_rate": (
        "{outcome}, cumulated rate per 100 of those still followed (95% interval)",
        "The count expected of stifles that do not leave by what competes.",
    ),
}


def arm_tables(analysis: Analysis, material: Material) -> list[Markup]:
    """Show the means of an analysis that has them; nothing for another."""
    tables: list[Markup] = []
    for measure in SHOWN:
        rows = of(material.rows, measure, f"{measure}_difference", analysis=analysis.id)
        if rows:
            tables.append(as_html(arm_table(rows, analysis, material, measure=measure)))
    return tables


def arm_table(
    rows: Sequence[Estimate], analysis: Analysis, material: Material, *, measure: str
) -> Table:
    """Give a line a day: each arm, then each difference from the first."""
    labels = material.labels
    outcome = labels.outcome(analysis.event, analysis.event_of_interest)
    title, note = SHOWN[measure]
    outcome = outcome if title.startswith("{") else small(outcome)
    arms = list(dict.fromkeys(row.group for row in of(rows, measure)))
    against = list(dict.fromkeys(row.level for row in of(rows, f"{measure}_difference")))
    lines: list[Line] = []
    for day in days_of(rows):
        here = [row for row in rows if row.day == day]
        means = {row.group: row for row in of(here, measure)}
        more = {row.level: row for row in of(here, f"{measure}_difference")}
        cells = [*(_cell(means.get(arm)) for arm in arms),
                 *(_cell(more.get(level)) for level in against)]  # fmt: skip
        lines.append(Line(day_text(day), tuple(cells)))
    named = [_arm(arm, analysis, material) for arm in arms]
    return Table(
        id=f"{measure.replace('_', '-')}-{analysis.id}", caption=title.format(outcome=outcome),
        columns=("Up to", *named,
                 *(f"Difference: {small(_arm(level, analysis, material))}" for level in against)),
        lines=tuple(lines), notes=(note,),
    )  # fmt: skip


def _arm(arm: str | None, analysis: Analysis, material: Material) -> str:
    if arm is None or analysis.exposure is None:
        return "All"
    return material.labels.arm(analysis.exposure, arm)


def _cell(row: Estimate | None) -> Cell:
    if row is None:
        return EMPTY
    of_what = row.n if row.measure == "restricted_mean" else row.clusters
    known = row.events is not None and of_what and not row.term
    detail = f"{whole(row.events or 0)} found in {whole(of_what or 0)}" if known else ""
    return Cell(estimate_and_interval(row), row.row_id, detail=detail, concerns=concern_texts(row))
