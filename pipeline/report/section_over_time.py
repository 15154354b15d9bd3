"""Is a hazard ratio the same on all days? The smooth of scaled Schoenfeld residuals, the test."""

from collections.abc import Sequence

import polars as pl
from markupsafe import Markup

from pipeline.plan import Analysis
from pipeline.report.blocks import heading, paragraph, picture
from pipeline.report.draw_over_time import draw_over_time
from pipeline.report.effects import term_text
from pipeline.report.labels import Labels
from pipeline.report.material import Material
from pipeline.report.pictures import Pictures
from pipeline.report.rows import curve_id, of
from pipeline.report.tables import Cell, Line, Table, as_html
from pipeline.report.text import fixed, p_text
from shared.estimate import Estimate

SCALES = {
    "km": "one minus the Kaplan-Meier estimate, so that events lie evenly", "identity": "days",
    "rank": "ranks of days", "log": "the logarithm of days",
}  # fmt: skip
PLACES = 6
WHAT_IT_IS = (
    "A Cox model gives one hazard ratio for all days, a mean over them. Where the line below "
    "leaves the dashed one, the ratio is another early than late; a small p in the test says that "
    "this is unlikely to be chance. A large p does not show that the ratio is constant: "
    "few events see little."
)


def over_time_blocks(analysis: Analysis, material: Material, pictures: Pictures) -> list[Markup]:
    """Draw each term's ratio over time, the tests beside; nothing where the plan asks for none."""
    curves = material.curves.filter(pl.col("analysis") == analysis.id)
    smooths = curves.filter(pl.col("curve") == "over_time")
    if smooths.is_empty():
        return []
    version = "adjusted" if "adjusted" in analysis.adjustments else "crude"
    rows = [
        row for row in of(material.rows, analysis=analysis.id)
        if row.model == "cox" and row.adjustment == version
    ]  # fmt: skip
    blocks = [heading("Is the ratio the same on all days?"), paragraph(WHAT_IT_IS)]
    for place, name in enumerate(smooths["group"].unique(maintain_order=True).to_list()):
        smooth = smooths.filter(pl.col("group") == name).sort("at")
        points = curves.filter(pl.col("curve") == "over_time_residual", pl.col("group") == name)
        row = _coefficient(rows, name)
        if row is None or row.estimate is None:
            continue
        title = term_text(row, material.labels)
        figure = draw_over_time(smooth, points.sort("at", "day"), constant=row.estimate)
        drawn = pictures.draw(f"over-time-{analysis.id}-{place}", figure)
        blocks.append(picture(
            drawn, alt=f"{title}: log hazard ratio over time; numbers in the table below.",
            caption=f"{title}: scaled Schoenfeld residuals of the events (dots), their smooth with "
            f"its {fixed(100 * analysis.confidence, 0)}% band, and the one log hazard ratio of the "
            f"model (dashed), over {SCALES[analysis.ph_transform]}; days are named below.",
            numbers=as_html(_smooth_table(analysis, smooth, title, place=place)),
        ))  # fmt: skip
    table = hazards_table(rows, analysis, material.labels)
    return [*blocks, as_html(table)] if table.lines else blocks


def hazards_table(rows: Sequence[Estimate], analysis: Analysis, labels: Labels) -> Table:
    """List the test of proportional hazards of each term and of all together."""
    found = [row for row in of(rows, "test") if row.term == "proportional_hazards"]
    lines = tuple(
        Line(
            "All terms together" if row.level == "global" else labels.name(row.level or ""),
            (Cell(fixed(row.statistic or 0, 2), row.row_id),
             Cell(fixed(row.df or 0, 0), row.row_id), Cell(p_text(row.p_value), row.row_id)),
        )
        for row in found
    )  # fmt: skip
    return Table(
        id=f"hazards-{analysis.id}", lines=lines,
        caption=f"Test of proportional hazards, over {SCALES[analysis.ph_transform]}",
        columns=("Term", "Chi-square", "Degrees of freedom", "p"),
    )  # fmt: skip


def _coefficient(rows: Sequence[Estimate], name: str) -> Estimate | None:
    for row in of(rows, "coefficient"):
        if name in (row.term, f"{row.term}={row.level}"):
            return row
    return None


def _smooth_table(analysis: Analysis, smooth: pl.DataFrame, title: str, *, place: int) -> Table:
    """Give some places of the smooth by their day."""
    step = max(1, (len(smooth) - 1) // (PLACES - 1))
    lines: list[Line] = []
    for day, *heights, group, state in smooth[::step].select(
        "day", "estimate", "low", "high", "group", "state"
    ).iter_rows():  # fmt: skip
        cells = tuple(
            Cell(fixed(value, 2), curve_id(analysis.id, group, state, day=day, what=what))
            for value, what in zip(heights, ("estimate", "low", "high"), strict=True)
        )
        lines.append(Line(fixed(day, 0), cells))
    return Table(
        id=f"over-time-{analysis.id}-{place}", lines=tuple(lines),
        caption=f"{title}: log hazard ratio over time", columns=("Day", "Smooth", "Low", "High"),
    )  # fmt: skip
