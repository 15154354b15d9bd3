"""Which distribution of days fits: AIC side by side, and curves over the risk without a model."""

from collections.abc import Sequence

import polars as pl
from markupsafe import Markup

from pipeline.plan import Analysis
from pipeline.report.blocks import heading, paragraph, picture
from pipeline.report.cells import count_cell
from pipeline.report.draw_fitted import Modelled, draw_fitted
from pipeline.report.labels import plain, small
from pipeline.report.material import Material, Question
from pipeline.report.pictures import Pictures
from pipeline.report.rows import distinct, of
from pipeline.report.tables import EMPTY, Cell, Line, Table, as_html
from pipeline.report.text import fixed
from shared.estimate import Estimate

NAMES = {
    "weibull": "Weibull",
    "lognormal": "Log-normal",
    "loglogistic": "Log-logistic",
    "generalised_gamma": "Generalised gamma",
    "piecewise_exponential": "Piecewise exponential",
}
WHY = (
    "A model of days takes a form for how the risk runs over time. The smaller Akaike's criterion "
    "(AIC), the better a form describes these rows for what it costs in parameters; differences "
    "under 2 say little. A form whose curve leaves that without a model does not fit there."
)


def distributions_section(
    question: Question, material: Material, pictures: Pictures
) -> list[Markup]:
    """Show the fit of each distribution of the analyses of a question that have one."""
    blocks: list[Markup] = []
    for analysis in (*question.analyses, *question.sensitivities):
        rows = of(material.rows, "aic", analysis=analysis.id)
        if not rows:
            continue
        table = aic_table(rows, analysis, material)
        outcome = material.labels.outcome(
            analysis.event, analysis.event_of_interest or analysis.outcome_name
        )
        blocks += [heading("Does the form of the model fit?"), paragraph(WHY)]
        drawn = _picture(analysis, material, pictures, outcome=outcome, numbers=as_html(table))
        blocks.append(drawn or as_html(table))
    return blocks


def aic_table(rows: Sequence[Estimate], analysis: Analysis, material: Material) -> Table:
    """Give AIC and log likelihood of each distribution, version by version."""
    heights = {
        (row.adjustment, row.group): row
        for row in of(material.rows, "log_likelihood", analysis=analysis.id)
    }
    lines: list[Line] = []
    for adjustment in distinct(row.adjustment for row in rows):
        here = [row for row in rows if row.adjustment == adjustment]
        least = min(row.estimate or 0.0 for row in here)
        lines.append(Line(plain(adjustment)))
        for row in here:
            height = heights.get((adjustment, row.group))
            above = fixed((row.estimate or 0.0) - least, 1)
            cells = (
                Cell(fixed(row.estimate or 0.0, 1), row.row_id), Cell(above, row.row_id),
                EMPTY if height is None else Cell(fixed(height.estimate or 0.0, 1), height.row_id),
                count_cell(row.events, row.row_id),
            )  # fmt: skip
            lines.append(Line(NAMES.get(row.group or "", row.group or ""), cells, indented=True))
    return Table(
        id=f"aic-{analysis.id}", caption="Distributions of days, by Akaike's criterion",
        columns=("Distribution", "AIC", "Above the least", "Log likelihood", "Events"),
        lines=tuple(lines),
    )  # fmt: skip


def _picture(
    analysis: Analysis, material: Material, pictures: Pictures, *, outcome: str, numbers: Markup
) -> Markup | None:
    curves = material.curves.filter(pl.col("analysis") == analysis.id)
    seen = curves.filter(pl.col("curve") == "without_model")
    models = [
        Modelled(label=NAMES.get(name, name), points=points)
        for name in distinct(curves.filter(pl.col("curve") == "parametric")["group"].to_list())
        if len(points := curves.filter(pl.col("group") == name, pl.col("curve") == "parametric"))
    ]
    days = sorted({*analysis.horizon, *(material.study.outcomes.horizons or ())})
    if seen.is_empty() or not models or not days:
        return None
    figure = draw_fitted(seen, models, [float(day) for day in days], outcome=outcome)
    return picture(
        pictures.draw(f"fitted-{analysis.id}", figure),
        alt=f"Curves of {small(outcome)}: as seen and by each distribution.",
        caption=f"{outcome}: steps without a model, smooth lines by the distributions, all stifles "
        "of the analysis together.",
        numbers=numbers,
    )  # fmt: skip
