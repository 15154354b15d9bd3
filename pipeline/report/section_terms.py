"""What the terms of a logistic model say: effects by another term, curves, risks of profiles."""

from collections.abc import Sequence

import polars as pl
from markupsafe import Markup

from pipeline.plan import Analysis
from pipeline.report.blocks import heading, paragraph, picture
from pipeline.report.cells import cell_of, count_cell
from pipeline.report.draw_spline import draw_spline
from pipeline.report.effects import term_text
from pipeline.report.labels import Labels, small
from pipeline.report.material import Material
from pipeline.report.pictures import Pictures
from pipeline.report.rows import curve_id, distinct, number, of
from pipeline.report.section_over_time import over_time_blocks
from pipeline.report.tables import Cell, Line, Table, as_html
from pipeline.report.text import day_text, fixed, p_equation, p_text
from shared.estimate import Estimate

NO_TEST = (
    "Differences between these lines are tested below; a line that excludes 1 beside one that does "
    "not is no such test."
)
PLACES = 7  # of a curve that stand in its table
TESTS = {"interaction_wald": "Wald", "interaction_likelihood_ratio": "likelihood ratio"}


def term_blocks(analysis: Analysis, material: Material, pictures: Pictures) -> list[Markup]:
    """Give the tables and curves of one analysis; nothing where the plan asks for none."""
    rows = of(material.rows, analysis=analysis.id)
    blocks: list[Markup] = []
    by_other = interaction_table(rows, analysis, material.labels)
    if by_other.lines:
        blocks += [heading("Does the effect hang on another term?"), as_html(by_other)]
        blocks += [paragraph(text) for text in _tests(rows, material.labels)]
    for column in analysis.spline:
        blocks += _curve(analysis, column, material, pictures)
    profiles = profile_table(rows, analysis, material.labels)
    if profiles.lines:
        blocks += [heading("Risks of named stifles"), as_html(profiles)]
    return [*blocks, *over_time_blocks(analysis, material, pictures)]


def interaction_table(rows: Sequence[Estimate], analysis: Analysis, labels: Labels) -> Table:
    """List the odds ratio of one term at each value of the other."""
    lines: list[Line] = []
    for row in of(rows, "odds_ratio_at"):
        column, _, value = (row.group or "").partition("=")
        title = term_text(row, labels)
        if not any(line.header == title and not line.cells for line in lines):
            lines.append(Line(title))
        cells = (cell_of(row), Cell(p_text(row.p_value), row.row_id))
        where = f"{labels.name(column)}: {labels.level(column, value)}"
        lines.append(Line(where, cells, indented=True))
    return Table(
        id=f"by-other-{analysis.id}",
        lines=tuple(lines),
        caption="Odds ratio at each value of the term it may hang on",
        columns=("At", "Odds ratio (95% interval)", "p"),
        notes=(NO_TEST,),
    )


def profile_table(rows: Sequence[Estimate], analysis: Analysis, labels: Labels) -> Table:
    """List risks of 100 stifles of each profile, in each arm."""
    found = of(rows, "profile_risk")
    named = distinct(row.level for row in found) or [""]
    arms = [arm for arm in analysis.levels if arm in named] or named
    lines: list[Line] = []
    days = list(dict.fromkeys(row.day for row in found))
    outcome = labels.outcome(analysis.event, analysis.event_of_interest or analysis.outcome_name)
    behind = "Stifles behind it" if analysis.model == "cox" else "Known outcomes behind it"
    average = "What a profile does not name is taken as it is among all stifles. "
    for name in distinct(row.group for row in found):
        for day in days:
            own = {row.level or "": row for row in found if (row.group, row.day) == (name, day)}
            cells = [cell_of(own.get(arm)) for arm in arms]
            title = name if len(days) == 1 or day is None else f"{name}, by {day_text(day)}"
            lines.append(Line(title, (*cells, count_cell(found[0].n, found[0].row_id))))
    titles = [labels.arm(analysis.exposure or "", arm) if arm else "Risk" for arm in arms]
    return Table(
        id=f"profiles-{analysis.id}", lines=tuple(lines),
        caption=f"{outcome}: predicted of 100 such stifles (95% interval)",
        columns=("Stifles", *titles, behind),
        notes=(f"{'' if analysis.model == 'cox' else average}These are risks "
               "of groups of stifles, no forecast for one animal.",),
    )  # fmt: skip


def _tests(rows: Sequence[Estimate], labels: Labels) -> list[Markup]:
    told: list[Markup] = []
    for row in of(rows, "test"):
        if row.term in TESTS:
            pair = " and ".join(small(labels.name(name)) for name in (row.level or "").split(":"))
            ignored = (
                ", stifles of one animal taken as independent"
                if "clusters_ignored" in row.concerns else ""
            )  # fmt: skip
            told.append(
                Markup("Test that the effects of {} do not hang on each other ({}{}): {}.").format(
                    pair, TESTS[row.term], ignored, number(p_equation(row.p_value), row.row_id)
                )
            )
    return told


def _curve(analysis: Analysis, column: str, material: Material, pictures: Pictures) -> list[Markup]:
    points = material.curves.filter(
        (pl.col("analysis") == analysis.id) & (pl.col("curve") == "spline")
        & (pl.col("state") == column)
    ).sort("at")  # fmt: skip
    if not len(points):
        return []
    name = material.labels.name_with_unit(column)
    drawn = pictures.draw(f"spline-{analysis.id}-{column}", draw_spline(points, name=name))
    knots = analysis.spline[column]
    return [
        picture(
            drawn, alt=f"Odds ratio over {small(name)}; its numbers stand in the table below.",
            caption=f"{name}: odds ratio against the median, by a restricted cubic spline with "
            f"{knots} knots; the band is the 95% interval.",
            numbers=as_html(_curve_table(analysis, column, points, name)),
        )
    ]  # fmt: skip


def _curve_table(analysis: Analysis, column: str, points: pl.DataFrame, name: str) -> Table:
    step = max(1, (len(points) - 1) // (PLACES - 1))
    lines: list[Line] = []
    for at, middle, low, high in points[::step].select("at", "estimate", "low", "high").iter_rows():
        text = f"{fixed(middle, 2)} ({fixed(low, 2)} to {fixed(high, 2)})"
        address = curve_id(analysis.id, "spline", column, day=at, what="estimate")
        lines.append(Line(fixed(at, 1), (Cell(text, address),)))
    return Table(
        id=f"spline-{analysis.id}-{column}".replace("_", "-"), lines=tuple(lines),
        caption=f"Odds ratio by {small(name)}", columns=(name, "Odds ratio (95% interval)"),
    )  # fmt: skip
