"""Curves of an analysis by arm, with their numbers."""

import math
from collections.abc import Sequence

import polars as pl
from markupsafe import Markup

from pipeline.plan import Analysis
from pipeline.report.blocks import picture
from pipeline.report.draw_curves import Arm, at_risk, draw_curves, value_at
from pipeline.report.labels import small
from pipeline.report.material import Material
from pipeline.report.pictures import Pictures
from pipeline.report.rows import curve_id
from pipeline.report.tables import Cell, Line, Table, as_html
from pipeline.report.text import day_text, fixed, whole

COUNTED = " A stifle may count several times: this is a mean count, not a risk."


def curves_of(analysis: Analysis, material: Material, pictures: Pictures) -> list[Markup]:
    """Draw the curves of the event of interest by arm, with numbers at risk."""
    arms = arms_of(analysis, material)
    if not arms or not analysis.horizon:
        return []
    last = max(analysis.horizon)
    usual = {float(day) for day in material.study.outcomes.horizons if day < last}
    days = sorted({*analysis.horizon, *usual})
    outcome = material.labels.outcome(analysis.event, analysis.event_of_interest)
    counts = analysis.model == "mean_cumulative_count"
    figure = draw_curves(arms, days, outcome=outcome, most=math.inf if counts else 100.0)
    caption = (
        f"{outcome} after surgery by arm, with 95% intervals and the stifles still at risk. "
        f"Days are those on which it was found.{COUNTED if counts else ''}"
    )
    drawn = pictures.draw(f"curves-{analysis.id}", figure)
    alt = f"Two rising step curves of {small(outcome)}; their numbers stand in the table below."
    numbers = as_html(curve_table(analysis, arms, days, caption=f"{outcome} per 100 by arm"))
    return [picture(drawn, alt=alt, caption=caption, numbers=numbers)]


def arms_of(analysis: Analysis, material: Material) -> list[Arm]:
    """Curves of an analysis in the order of its levels."""
    curves = material.curves.filter(pl.col("analysis") == analysis.id)
    if analysis.event_of_interest:
        curves = curves.filter(
            pl.col("state").is_null() | (pl.col("state") == analysis.event_of_interest)
        )
    arms: list[Arm] = []
    for level in analysis.levels:
        points = curves.filter(pl.col("group") == level).sort("day")
        if len(points):
            label = material.labels.arm(analysis.exposure or "", level)
            look = material.look(analysis.exposure, level)
            arms.append(Arm(group=level, label=label, points=points, look=look))
    return arms


def curve_table(
    analysis: Analysis, arms: Sequence[Arm], days: Sequence[float], *, caption: str
) -> Table:
    """Heights and numbers at risk on the days of the analysis."""
    state = analysis.event_of_interest or ""
    lines: list[Line] = []
    for arm in arms:
        lines.append(Line(arm.label))
        for day in (0.0, *days):
            low, middle, high = (
                fixed(100 * value_at(arm.points, day, name), 1)
                for name in ("low", "estimate", "high")
            )
            height = curve_id(analysis.id, arm.group, state, day=day, what="estimate")
            at_id = curve_id(analysis.id, arm.group, state, day=day, what="n_at_risk")
            cells = (
                Cell(f"{middle} ({low} to {high})" if day else middle, height),
                Cell(whole(at_risk(arm.points, day)), at_id),
            )
            lines.append(Line(day_text(day) if day else "Surgery", cells, indented=True))
    return Table(
        id=f"curve-{analysis.id}", caption=caption,
        columns=("By", "Per 100 (95% interval)", "At risk"), lines=tuple(lines),
    )  # fmt: skip
