"""When the stifles were operated, by clinic where clinics may be named."""

from collections.abc import Sequence

from pipeline.report.blocks import Section, paragraph, picture
from pipeline.report.draw_accrual import Layer, draw_accrual
from pipeline.report.labels import Labels
from pipeline.report.material import Material
from pipeline.report.pictures import Pictures
from pipeline.report.rows import distinct, of
from pipeline.report.tables import EMPTY, Cell, Line, Table, as_html
from pipeline.report.text import count_of
from shared.estimate import Estimate

ALL = "all"
MISSING = "missing"


def accrual_section(material: Material, pictures: Pictures) -> Section:
    """Show how many of the stifles studied were operated in each year."""
    rows = of(material.rows, "count", analysis="accrual")
    years = [level for level in distinct(row.level for row in rows) if level != MISSING]
    if not years:
        nothing = paragraph("No year of surgery is recorded.")
        return Section("accrual", "When they were operated", "Accrual", (nothing,))
    figure = draw_accrual(_layers(rows, years, material.labels), years)
    hidden = any(row.estimate is None for row in rows)
    block = picture(
        pictures.draw("accrual", figure),
        alt="Bars of the stifles operated in each year; the numbers stand in the table below.",
        caption="Stifles studied, by the year of their first patellar surgery."
        + " Years whose count is not shown have no bar." * hidden,
        numbers=as_html(accrual_table(material)),
    )
    return Section("accrual", "When they were operated", "Accrual", (block,))


def accrual_table(material: Material) -> Table:
    """Count stifles by year (lines) and clinic (columns)."""
    rows = of(material.rows, "count", analysis="accrual")
    clinics = distinct(row.group for row in rows)
    found = {(row.group, row.level): row for row in rows}
    lines = tuple(
        Line(
            "Not recorded" if level == MISSING else level,
            tuple(_cell(found.get((clinic, level))) for clinic in clinics),
        )
        for level in sorted(distinct(row.level for row in rows))
    )
    return Table(
        id="accrual-table", caption="Stifles studied, by year of surgery",
        columns=("Year", *(_name(clinic, material.labels) for clinic in clinics)), lines=lines,
    )  # fmt: skip


def _layers(rows: Sequence[Estimate], years: Sequence[str], labels: Labels) -> list[Layer]:
    """Give one layer per clinic; where no clinic is named, one for all."""
    found = {(row.group, row.level): row.estimate for row in rows}
    groups = distinct(row.group for row in rows)
    clinics = [group for group in groups if group != ALL] or groups
    return [
        Layer(_name(clinic, labels), tuple(found.get((clinic, year)) for year in years))
        for clinic in clinics
    ]


def _name(clinic: str, labels: Labels) -> str:
    return "All" if clinic == ALL else labels.clinic(clinic)


def _cell(row: Estimate | None) -> Cell:
    return EMPTY if row is None else Cell(count_of(row), row.row_id)
