"""All ratios on one scale."""

from pipeline.report.blocks import Section, paragraph, picture
from pipeline.report.draw_forest import ForestLine, draw_forest
from pipeline.report.effects import effect_name, last_ratios
from pipeline.report.material import Material
from pipeline.report.pictures import Pictures
from pipeline.report.sentences import (
    versus,
)
from pipeline.report.tables import Cell, Line, Table, as_html
from pipeline.report.text import estimate_and_interval


def forest_section(material: Material, pictures: Pictures) -> Section:
    """Put the ratios of all questions on one scale, each in the version that the plan asks for.

    Other versions of an analysis (complete cases, unpenalised) stand in its own table.
    """
    lines: list[ForestLine] = []
    shown: list[Line] = []
    for question in material.questions:
        rows = [(analysis, row) for analysis in question.analyses
                for row in last_ratios(analysis, material.rows)
                if row.role in (None, analysis.role)]  # fmt: skip
        if rows:
            title = versus(question.lead, material.labels)
            lines.append(ForestLine(title))
            shown.append(Line(title))
        for analysis, row in rows:
            name = effect_name(row)
            colour = material.look(analysis.exposure, row.level or analysis.levels[-1]).colour
            lines.append(ForestLine(name, row, colour))
            shown.append(Line(name, (Cell(estimate_and_interval(row), row.row_id),), indented=True))
    if not lines:
        return Section("forest", "All ratios together", "All ratios",
                       (paragraph("No ratio could be estimated."),))  # fmt: skip
    figure = draw_forest(lines, favours=("less often", "more often"))
    table = Table(id="forest-table", caption="All ratios", columns=("Analysis", "Ratio (interval)"),
                  lines=tuple(shown))  # fmt: skip
    alt = "Ratios with their intervals, one line each; their numbers stand in the table below."
    caption = "Ratios of all questions with 95% intervals: hollow squares crude, filled adjusted. "
    caption += "Other versions of each analysis stand under its question."
    block = picture(
        pictures.draw("forest", figure), alt=alt, caption=caption, numbers=as_html(table)
    )
    return Section("forest", "All ratios together", "All ratios", (block,))
