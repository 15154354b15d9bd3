"""Outcomes that nobody knows: their extremes, and the weights that stand for them."""

from collections.abc import Sequence

from markupsafe import Markup

from pipeline.analyses.unknown_outcomes import BOUNDS
from pipeline.plan import Analysis
from pipeline.report.blocks import Section, fold, heading, paragraph
from pipeline.report.cells import cell_of, count_cell
from pipeline.report.effects import analysis_title, term_text
from pipeline.report.labels import Labels, small
from pipeline.report.material import Material
from pipeline.report.rows import first, number, of
from pipeline.report.sentences import difference_words
from pipeline.report.tables import Cell, Line, Table, as_html
from pipeline.report.text import estimate_text, fixed
from shared.estimate import Estimate

WORDS = {
    "unknown_all": "All unknown are events",
    "unknown_none": "No unknown is an event",
    "unknown_worst": "Worst: unknown are events, but none {reference}",
    "unknown_best": "Best: unknown are none, but events {reference}",
}
MODELS = ("hazard_ratio_of_loss", "odds_ratio_of_known")


def unknown_section(material: Material) -> Section | None:
    """Show the extremes and the weights of every logistic analysis with unknown outcomes."""
    blocks = [
        paragraph(
            "A stifle that nobody looked at late enough has no known outcome. The answer weighs "
            "those that were looked at for those that were not; it is right only if the two differ "
            "in nothing but what the model of the weights knows. The extremes assume nothing: the "
            "truth lies between them, however unlikely its ends are."
        )
    ]
    for analysis in material.analyses:
        rows = of(material.rows, analysis=analysis.id)
        bounds = bounds_table(rows, analysis, material.labels)
        if not bounds.lines:
            continue
        blocks.append(heading(analysis_title(analysis, material.labels)))
        blocks += [paragraph(text) for text in (_weights(rows),) if text]
        blocks.append(as_html(bounds))
        for table in (known_table(rows, analysis, material.labels),
                      model_table(rows, analysis, material.labels)):  # fmt: skip
            blocks += [fold(table.caption, as_html(table))] if table.lines else []
    if len(blocks) == 1:
        return None
    return Section("unknown", "Outcomes that nobody knows", "Unknown outcomes", tuple(blocks))


def bounds_table(rows: Sequence[Estimate], analysis: Analysis, labels: Labels) -> Table:
    """Risks per 100 of each arm and their difference, at each extreme."""
    arms = analysis.levels
    named = [labels.arm(analysis.exposure or "", arm) for arm in arms]
    reference = labels.arm_phrase(analysis.exposure or "", arms[0]) if arms else ""
    lines: list[Line] = []
    for state in BOUNDS:
        here = [row for row in rows if row.state == state]
        risks = {row.group: row for row in of(here, "risk")}
        differences = {row.level: row for row in of(here, "risk_difference")}
        if here:
            cells = [cell_of(risks.get(arm)) for arm in arms]
            cells += [_difference(differences.get(arm)) for arm in arms[1:]]
            lines.append(Line(WORDS[state].format(reference=reference), tuple(cells)))
    return Table(
        id=f"unknown-{analysis.id}", lines=tuple(lines),
        caption=f"{labels.outcome(analysis.outcome)} of 100 at the extremes of the unknown "
        "outcomes (95% interval)",
        columns=("If", *named, *(f"Difference: {small(name)}" for name in named[1:])),
    )  # fmt: skip


def known_table(rows: Sequence[Estimate], analysis: Analysis, labels: Labels) -> Table:
    """How likely the outcomes were to be known, in each arm."""
    found = of(rows, "probability_known")
    lines = tuple(
        Line(
            labels.arm(analysis.exposure or "", arm),
            tuple(
                _per_hundred(first(row for row in found if (row.group, row.level) == (arm, level)))
                for level in ("lowest", "median", "highest")
            ),
        )
        for arm in dict.fromkeys(row.group or "" for row in found)
    )
    return Table(
        id=f"known-{analysis.id}", lines=lines,
        caption="Overlap: estimated chance, of 100, that the outcome became known",
        columns=("Arm", "Lowest", "Median", "Highest"),
    )  # fmt: skip


def model_table(rows: Sequence[Estimate], analysis: Analysis, labels: Labels) -> Table:
    """List the terms of the model behind the weights."""
    lines = tuple(
        Line(term_text(row, labels), (cell_of(row), count_cell(row.n, row.row_id)))
        for row in of(rows, *MODELS)
    )
    of_loss = any(row.measure == MODELS[0] for row in rows)
    return Table(
        id=f"weights-{analysis.id}", lines=lines,
        caption="The model behind the weights: "
        + ("who was lost sooner" if of_loss else "whose outcome is known"),
        columns=("Term", "Ratio (95% interval)", "Stifles"),
    )  # fmt: skip


def _difference(row: Estimate | None) -> Cell:
    if row is None or row.estimate is None:
        return cell_of(row)
    return Cell(difference_words(row))


def _per_hundred(row: Estimate | None) -> Cell:
    if row is None or row.estimate is None:
        return cell_of(row)
    return Cell(fixed(100 * row.estimate, 0), row.row_id)


def _weights(rows: Sequence[Estimate]) -> Markup:
    """Say how many are known, and how uneven the weights are."""
    found = {
        measure: first(row for row in of(rows, measure) if row.adjustment == "adjusted")
        for measure in ("share_known", "effective_n", "largest_weight", "mean_weight")
    }
    known, effective = found["share_known"], found["effective_n"]
    largest, mean = found["largest_weight"], found["mean_weight"]
    if not (known and effective and largest and mean):
        return Markup("")
    return Markup(
        "Known: {} of 100. Weighted, they count like {} stifles of equal weight; the largest "
        "weight is {}, the mean {} (stabilised: near 1)."
    ).format(
        number(fixed(100 * (known.estimate or 0), 0), known.row_id),
        number(fixed(effective.estimate or 0, 0), effective.row_id),
        number(estimate_text(largest), largest.row_id),
        number(fixed(mean.estimate or 0, 2), mean.row_id),
    )
