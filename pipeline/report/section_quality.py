"""How well the models describe the cases: in their own stifles, corrected, in clinics left out."""

from collections.abc import Sequence

import polars as pl
from markupsafe import Markup

from pipeline.plan import Analysis
from pipeline.report.blocks import Section, fold, heading, paragraph, picture
from pipeline.report.cells import cell_of, count_cell
from pipeline.report.draw_calibration import CalibrationLine, draw_calibration
from pipeline.report.effects import analysis_title
from pipeline.report.labels import small
from pipeline.report.material import Material
from pipeline.report.pictures import Pictures
from pipeline.report.rows import curve_id, first, number, of
from pipeline.report.sentences import concern_texts
from pipeline.report.tables import EMPTY, Cell, Line, Table, as_html
from pipeline.report.text import fixed, p_equation
from shared.estimate import Estimate

STATES = {
    "apparent": "In its own stifles", "corrected": "Corrected for optimism",
    "left_out": "In clinics left out",
}  # fmt: skip
MEASURES = {
    "concordance": "c-statistic (0.5 is chance, 1 is perfect)",
    "brier": "Brier score: mean squared error (0 is perfect)",
    "scaled_brier": "Brier score, scaled (0 is no better than the overall share)",
    "calibration_in_the_large": "Calibration in the large (0 is perfect)",
    "calibration_slope": "Calibration slope (1 is perfect; below, risks are too extreme)",
    "calibration_error": "Mean distance of predicted from found, per 100",
}
PLACES = 7  # of the calibration curve that stand in its table
INFLATION = (
    "1 is none; for a term of several columns, its power 1 / columns compares. The condition "
    "number counts the level of a column too: a calendar year makes it large."
)
WHAT_IT_IS = (
    "These models are there to compare treatments fairly, not to predict for one animal. Still, a "
    "model that misses what happened may also adjust badly. A model always looks good in the "
    "stifles it was made from: believe the columns to the right."
)


def quality_section(material: Material, pictures: Pictures) -> Section | None:
    """Judge every model whose plan asks for it; nothing where none does."""
    blocks: list[Markup] = [paragraph(WHAT_IT_IS)]
    for analysis in material.analyses:
        rows = [row for row in of(material.rows, analysis=analysis.id) if row.model != "precision"]
        table = fit_table(rows, analysis, material)
        tests, folded = _tests(rows), _folded(rows, analysis, material)
        if not (table.lines or tests or folded):
            continue
        blocks.append(heading(analysis_title(analysis, material.labels)))
        blocks += [paragraph(text) for text in (_in_words(rows), *tests) if text]
        blocks += [as_html(table)] if table.lines else []
        blocks += _curve(analysis, material, pictures)
        blocks += [fold(more.caption, as_html(more)) for more in folded]
    if len(blocks) == 1:
        return None
    return Section("quality", "How well the models describe the cases", "Fit of the models",
                   tuple(blocks))  # fmt: skip


def _folded(rows: Sequence[Estimate], analysis: Analysis, material: Material) -> list[Table]:
    """Give the tables that open on demand, those with a line."""
    makers = (clinics_table, influence_table, collinearity_table)
    tables = [make(rows, analysis, material) for make in makers]
    return [table for table in tables if table.lines]


def fit_table(rows: Sequence[Estimate], analysis: Analysis, material: Material) -> Table:
    """One line a measure, one column a way to look at it."""
    found = {(row.measure, row.state): row for row in rows if row.state in STATES}
    lines = tuple(
        Line(title, tuple(cell_of(found.get((measure, state))) for state in STATES))
        for measure, title in MEASURES.items()
        if any((measure, state) in found for state in STATES)
    )
    return Table(
        id=f"quality-{analysis.id}", columns=("Measure", *STATES.values()), lines=lines,
        caption=f"{analysis_title(analysis, material.labels)}: how well it describes the cases",
    )  # fmt: skip


def clinics_table(rows: Sequence[Estimate], analysis: Analysis, material: Material) -> Table:
    """Events found over events expected from the other clinics, clinic by clinic."""
    lines = tuple(
        Line(
            material.labels.clinic(row.group or ""),
            (cell_of(row), count_cell(row.n, row.row_id), count_cell(row.events, row.row_id)),
        )
        for row in of(rows, "observed_expected")
    )
    return Table(
        id=f"left-out-{analysis.id}", lines=lines,
        caption="Each clinic by a model of the others",
        columns=("Clinic", "Found over expected", "Stifles", "Events"),
    )  # fmt: skip


def influence_table(rows: Sequence[Estimate], analysis: Analysis, material: Material) -> Table:
    """List the ratio without one clinic, and without one animal."""
    lines: list[Line] = []
    ratio = "Hazard ratio" if analysis.model == "cox" else "Odds ratio"
    for row in of(rows, f"{small(ratio).replace(' ', '_')}_without"):
        title = f"Without one {small(material.labels.name(row.state or ''))}"
        if not lines or title not in {line.header for line in lines}:
            lines.append(Line(title))
        cells = (cell_of(row), count_cell(row.n, row.row_id))
        label = row.group or ""
        name = material.labels.clinic(label) if row.state == "clinic_id" else label
        lines.append(Line(name, cells, indented=True))
    return Table(
        id=f"influence-{analysis.id}", lines=tuple(lines),
        caption=f"The {small(ratio)} without one clinic, or one of the animals that move it most",
        columns=("Left out", f"{ratio} without", "Stifles left"),
    )  # fmt: skip


def collinearity_table(rows: Sequence[Estimate], analysis: Analysis, material: Material) -> Table:
    """List how much of each term the others say already, and how many events each has."""
    lines = [
        Line(material.labels.name(row.term or ""),
             (cell_of(row), Cell(fixed(row.df or 1, 0), row.row_id)))
        for row in of(rows, "variance_inflation")
    ]  # fmt: skip
    for row in of(rows, "condition_number"):
        lines.append(Line("All terms: condition number", (cell_of(row), EMPTY)))
    for row in of(material.rows, "events_per_parameter", analysis=analysis.id):
        lines.append(Line("Events per parameter", (cell_of(row), EMPTY)))
    return Table(
        id=f"collinear-{analysis.id}",
        lines=tuple(lines) if len(lines) > 1 else (),
        caption="How much the terms say the same",
        columns=("Term", "Variance inflation", "Columns"),
        notes=(INFLATION,),
    )


def _in_words(rows: Sequence[Estimate]) -> Markup:
    """Say the c-statistic as pairs of stifles."""
    by_state = {row.state: row for row in of(rows, "concordance") if row.estimate is not None}
    told = [
        Markup("{} {}").format(number(fixed(100 * (row.estimate or 0), 0), row.row_id), words)
        for state, words in (("apparent", "in its own stifles"),
                             ("corrected", "after correction for optimism"),
                             ("left_out", "in clinics that it has not seen"))
        if (row := by_state.get(state)) is not None
    ]  # fmt: skip
    if not told:
        return Markup("")
    start = Markup(
        "Of 100 pairs of stifles, one with the outcome and one without, the model gives the one "
        "with it the higher risk in "
    )
    return start + Markup(", ").join(told) + Markup("; 50 would be chance.")


def _tests(rows: Sequence[Estimate]) -> list[Markup]:
    row = first(row for row in of(rows, "test") if row.term == "hosmer_lemeshow")
    if row is None:
        return []
    said = f"chi-square {fixed(row.statistic or 0, 1)}, {p_equation(row.p_value)}"
    return [
        Markup("Test of Hosmer and Lemeshow, as asked for: {}. It {}.").format(
            number(said, row.row_id), "; ".join(concern_texts(row))
        )
    ]


def _curve(analysis: Analysis, material: Material, pictures: Pictures) -> list[Markup]:
    curves = material.curves.filter(
        (pl.col("analysis") == analysis.id) & (pl.col("curve") == "calibration")
    )
    lines = [
        CalibrationLine(label=STATES[state], points=points, band=state == "left_out" or alone)
        for state in ("left_out", "apparent")
        for alone in (curves["state"].n_unique() == 1,)
        if len(points := curves.filter(pl.col("state") == state).sort("at"))
    ]
    if not lines:
        return []
    outcome = material.labels.outcome(analysis.event, analysis.outcome_name)
    drawn = pictures.draw(f"calibration-{analysis.id}", draw_calibration(lines, outcome=outcome))
    caption = (
        f"{outcome}: found against predicted, of 100 stifles. On the grey line they agree; the "
        "band is the 95% interval. Solid: clinics predicted by a model of the others."
    )
    numbers = as_html(_curve_table(analysis, lines))
    alt = "Curves of found against predicted risk; their numbers stand in the table below."
    return [picture(drawn, alt=alt, caption=caption, numbers=numbers)]


def _curve_table(analysis: Analysis, lines: Sequence[CalibrationLine]) -> Table:
    shown: list[Line] = []
    for line in lines:
        shown.append(Line(line.label))
        step = max(1, (len(line.points) - 1) // (PLACES - 1))
        for at, middle, low, high, state in line.points[::step].select(
            "at", "estimate", "low", "high", "state"
        ).iter_rows():  # fmt: skip
            text = f"{fixed(100 * middle, 1)} ({fixed(100 * low, 1)} to {fixed(100 * high, 1)})"
            address = curve_id(analysis.id, "calibration", state, day=at, what="estimate")
            shown.append(Line(fixed(100 * at, 1), (Cell(text, address),), indented=True))
    return Table(
        id=f"calibration-{analysis.id}", caption="Found by predicted risk, of 100",
        columns=("Predicted", "Found (95% interval)"), lines=tuple(shown),
    )  # fmt: skip
