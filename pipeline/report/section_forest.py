"""All ratios on one scale."""

from pipeline.report.blocks import Section, paragraph, picture
from pipeline.report.draw_forest import ForestLine, draw_forest
from pipeline.report.effects import effect_name, last_ratios
from pipeline.report.figures import data_uri, svg_of
from pipeline.report.material import Material
from pipeline.report.pictures import Picture, Pictures
from pipeline.report.sentences import (
    versus,
)
from pipeline.report.tables import Cell, Line, Table, as_html
from pipeline.report.text import estimate_and_interval


def forest_section(material: Material, pictures: Pictures) -> Section:
    """Put all ratios on one scale."""
    lines: list[ForestLine] = []
    shown: list[Line] = []
    for question in material.questions:
        rows = [(analysis, row) for analysis in question.analyses
                for row in last_ratios(analysis, material.rows)]  # fmt: skip
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
    pictures.add(Picture("forest", figure))
    table = Table(id="forest-table", caption="All ratios", columns=("Analysis", "Ratio (interval)"),
                  lines=tuple(shown))  # fmt: skip
    alt = "Ratios with their intervals, one line each; their numbers stand in the table below."
    caption = "Ratios of all questions with 95% intervals: hollow squares crude, filled adjusted."
    block = picture(data_uri(svg_of(figure)), alt=alt, caption=caption, numbers=as_html(table))
    return Section("forest", "All ratios together", "All ratios", (block,))
