"""How far clusters of a frailty model lie apart: the variance of the frailty and its test."""

from markupsafe import Markup

from pipeline.plan import Analysis
from pipeline.report.blocks import paragraph
from pipeline.report.labels import small
from pipeline.report.material import Material
from pipeline.report.rows import number, of
from pipeline.report.text import estimate_and_interval, p_equation

WHAT = (
    "The variance of the frailty says how far the hazards of one {within} and another lie apart, "
    "the terms alike (0: not at all)."
)


def frailties(analysis: Analysis, material: Material) -> list[Markup]:
    """Say the variance of each version of a frailty model; nothing for another model."""
    within = small(material.labels.name(analysis.random_intercept or ""))
    rows = of(material.rows, analysis=analysis.id)
    said: list[Markup] = []
    for row in of(rows, "frailty_variance"):
        text = Markup("{}: {}").format(
            (row.adjustment or "crude").capitalize(),
            number(estimate_and_interval(row), row.row_id),
        )
        for test in of(rows, "test", adjustment=row.adjustment):
            if test.level == "no_variance":
                p_value = number(p_equation(test.p_value), test.row_id)
                text += Markup(", that there is none {}").format(p_value)
        said.append(text + ".")
    what = WHAT.format(within=within)
    return [paragraph(Markup(" ").join([Markup("{}").format(what), *said]), "note")] if said else []
