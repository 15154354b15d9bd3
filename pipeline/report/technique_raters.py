"""The agreement of raters: one table of coefficients, one of the differences between two."""

from collections.abc import Sequence

from markupsafe import Markup

from pipeline.report.blocks import heading, paragraph
from pipeline.report.labels import Labels
from pipeline.report.material import Material
from pipeline.report.rows import distinct, of
from pipeline.report.sentences import concern_texts
from pipeline.report.tables import EMPTY, Cell, Line, Table, as_html
from pipeline.report.text import NOT_GIVEN, estimate_text, fixed, whole
from shared.estimate import Estimate

RATIO = "osteotomy_ratio"


def raters_blocks(material: Material) -> list[Markup]:
    """Show how far raters agree, if images were read by two of them."""
    tables = [table for table in raters_tables(material) if table.lines]
    if not tables:
        return []
    return [
        heading("Do those who measured agree?"),
        paragraph(
            "The intraclass correlation is that of one rater taken at random, for absolute "
            "agreement: it is high where animals differ far more than raters do. The limits of "
            "agreement say how far two raters differ on one image, in 95 of 100 images."
        ),
        *(as_html(table) for table in tables),
    ]


def raters_tables(material: Material) -> list[Table]:
    """Give the coefficients by measure, and what lies between two raters or two readings."""
    rows = of(material.rows, analysis="raters")
    return [_coefficients(rows, material.labels), _differences(rows, material.labels)]


def _coefficients(rows: Sequence[Estimate], labels: Labels) -> Table:
    found = of(rows, "intraclass_correlation")
    lines = tuple(
        Line(
            _measure(term, labels),
            tuple(_coefficient(row) for state in ("one rater", "mean of raters")
                  for row in [_one(found, term, state)]),
        )
        for term in distinct(row.term for row in found)
    )  # fmt: skip
    return Table(
        id="raters-agreement", caption="Agreement of all raters: intraclass correlation",
        columns=("Measure", "One rater (95% interval)", "Mean of the raters"), lines=lines,
        notes=("Two-way, absolute agreement (Shrout and Fleiss 1979), of the images that all "
               "raters of a measure read.",),
    )  # fmt: skip


def _differences(rows: Sequence[Estimate], labels: Labels) -> Table:
    lines: list[Line] = []
    for term in distinct(row.term for row in rows):
        own = [row for row in rows if row.term == term and row.level]
        pairs = distinct(row.level for row in own)
        if pairs:
            lines.append(Line(_measure(term, labels)))
        lines += [
            Line(_pair(pair),
                 tuple(_number(next((row for row in own if row.level == pair
                                     and row.measure == measure), None))
                       for measure in ("mean_difference", "lower_limit_of_agreement",
                                       "upper_limit_of_agreement", "repeatability",
                                       "weighted_kappa")),
                 indented=True)
            for pair in pairs
        ]  # fmt: skip
    return Table(
        id="raters-pairs", caption="Between two raters, and between two readings of one",
        columns=("Raters", "Mean difference", "Lower limit", "Upper limit", "Repeatability",
                 "Weighted kappa"),
        lines=tuple(lines),
        notes=("Limits of agreement and repeatability: Bland and Altman 1986, in the unit of the "
               "measure. Kappa, quadratic weights: whether the ratio is under 0.25, up to 0.42 or "
               "over.",),
    )  # fmt: skip


def _one(rows: Sequence[Estimate], term: str, state: str) -> Estimate | None:
    return next((row for row in rows if row.term == term and row.state == state), None)


def _coefficient(row: Estimate | None) -> Cell:
    cell = _number(row)
    if row is None or row.estimate is None or row.low is None:
        return cell
    images = f"{whole(row.n or 0)} images" + (
        f", {whole(row.n_dropped)} others left out" if row.n_dropped else ""
    )
    return Cell(cell.text, cell.row_id, concerns=cell.concerns, detail=images)


def _number(row: Estimate | None) -> Cell:
    if row is None:
        return EMPTY
    if row.estimate is None:
        text = estimate_text(row) or NOT_GIVEN
        return Cell(text, row.row_id, concerns=concern_texts(row))
    digits = 3 if row.term == RATIO and not row.state else 2
    text = fixed(row.estimate, digits)
    if row.low is not None and row.high is not None:
        text += f" ({fixed(row.low, digits)} to {fixed(row.high, digits)})"
    return Cell(text, row.row_id, concerns=concern_texts(row))


def _pair(level: str) -> str:
    one, _, other = level.partition(" / ")
    return f"{one}, twice" if one == other else f"{one} less {other}"


def _measure(term: str, labels: Labels) -> str:
    known = labels.variables.get("measure")
    return known.codes.get(term) or labels.name(term) if known else labels.name(term)
