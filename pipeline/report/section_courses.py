"""Single stifles: which complications met in one, and the courses of a few."""

import polars as pl
from markupsafe import Markup

from pipeline.descriptive.combined import JOIN, OTHERS
from pipeline.report.blocks import Section, heading, paragraph, picture
from pipeline.report.draw_combined import Combination, draw_combined
from pipeline.report.draw_courses import draw_courses
from pipeline.report.labels import Labels
from pipeline.report.material import Material
from pipeline.report.pictures import Pictures
from pipeline.report.rows import number, of
from pipeline.report.tables import Cell, Line, Table, as_html
from pipeline.report.text import count_of, whole

NO_EVENT = ("followed", "palpated", "other contact")
RULE = (
    "{} of the stifles with an event after surgery and {} of those without, drawn by the seed of "
    "the study and not by hand: the shares in the picture are not those of the study. Days are on "
    "a square-root scale."
)


def courses_section(material: Material, pictures: Pictures) -> Section:
    """Draw the combined complications and the sample of courses."""
    blocks = [*_combined(material, pictures), *_courses(material, pictures)]
    nothing = paragraph("No complication and no course is recorded.")
    return Section("courses", "Single stifles", "Courses", tuple(blocks) or (nothing,))


def combined_table(material: Material) -> Table:
    """Count the stifles of each combination of complications."""
    rows = of(material.rows, "count", analysis="combinations")
    lines = tuple(
        Line(
            "Any complication after surgery" if row.level is None
            else _words(row.level, material.labels),
            (Cell(count_of(row), row.row_id),),
        )
        for row in rows
    )  # fmt: skip
    return Table(
        id="combinations", caption="Which types of complication one stifle had",
        columns=("Types", "Stifles"), lines=lines,
    )  # fmt: skip


def _combined(material: Material, pictures: Pictures) -> list[Markup]:
    rows = [row for row in of(material.rows, "count", analysis="combinations")
            if row.level and row.estimate is not None]  # fmt: skip
    if not rows:
        return []
    labels = material.labels
    parts = [() if row.level == OTHERS else tuple((row.level or "").split(JOIN)) for row in rows]
    drawn = {name for types in parts for name in types}
    all_of = [row for row in of(material.rows, "count", analysis="severity")
              if row.level is None and row.term in drawn]  # fmt: skip
    sizes = sorted(((_type(row.term or "", labels), row.estimate or 0.0) for row in all_of),
                   key=lambda item: (-item[1], item[0]))  # fmt: skip
    found = [Combination(tuple(_type(name, labels) for name in types), row.estimate or 0.0)
             for types, row in zip(parts, rows, strict=True)]  # fmt: skip
    return [
        heading("Which complications met in one stifle"),
        picture(
            pictures.draw("combinations", draw_combined(found, sizes)),
            alt="Bars of the stifles with each combination of complications, and under each bar "
            "the types it is made of; the numbers stand in the table below.",
            caption="Stifles by the types of complication they had after surgery, the commonest "
            "combination first; in brackets all stifles with that type.",
            numbers=as_html(combined_table(material)),
        ),
    ]


def _courses(material: Material, pictures: Pictures) -> list[Markup]:
    marks = material.courses
    if marks is None or marks.is_empty():
        return []
    n_with = _events(marks)["stifle_id"].n_unique()
    n_without = marks["stifle_id"].n_unique() - n_with
    rule = RULE.format(whole(n_with), whole(n_without))
    return [
        heading("The course of single stifles"),
        picture(
            pictures.draw("courses", draw_courses(marks)),
            alt="A line for each of the drawn stifles from surgery to its last contact, with marks "
            "for visits and events; the days stand in the table below.",
            caption=rule,
            numbers=as_html(_course_table(marks, material.labels)),
        ),
    ]


def _course_table(marks: pl.DataFrame, labels: Labels) -> Table:
    lines: list[Line] = []
    for (place,), rows in marks.group_by("place", maintain_order=True):
        stifle = str(rows["stifle_id"][0])
        cells = (
            _days(rows.filter(pl.col("kind").is_in(NO_EVENT[1:])), labels),
            _days(_events(rows), labels, named=True),
            _days(rows.filter(kind="followed"), labels),
        )
        lines.append(Line(f"{place}: {stifle}", tuple(cells)))
    return Table(
        id="courses-table", caption="The courses drawn: days after surgery",
        columns=("Stifle", "Contacts", "Events", "Last contact"), lines=tuple(lines),
        notes=("A contact in brackets was no palpation.",),
    )  # fmt: skip


def _events(rows: pl.DataFrame) -> pl.DataFrame:
    return rows.filter(~pl.col("kind").is_in(NO_EVENT))


def _days(rows: pl.DataFrame, labels: Labels, *, named: bool = False) -> Cell:
    said: list[Markup] = []
    for row in rows.iter_rows(named=True):
        day = number(whole(row["day"]), f"courses/{row['stifle_id']}/{row['kind']}/{row['day']}")
        if named:
            said.append(Markup("{} {}").format(_type(row["what"], labels), day))
        elif row["kind"] == "other contact":
            said.append(Markup("({})").format(day))
        else:
            said.append(day)
    return Cell(Markup(", ").join(said), words=True)


def _words(level: str, labels: Labels) -> str:
    if level == OTHERS:
        return "Other combinations"
    return ", ".join(_type(name, labels) for name in level.split(JOIN))


def _type(name: str, labels: Labels) -> str:
    for variable in ("complication_type", "revision_reason", "end_status"):
        known = labels.variables.get(variable)
        if known and name in known.codes:
            return known.codes[name]
    return labels.outcome(name)
