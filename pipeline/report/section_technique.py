"""How usual the technique was, by clinic, and whether those who measured it agree."""

from collections.abc import Sequence

from markupsafe import Markup

from pipeline.report.baseline_table import ALL
from pipeline.report.blocks import Section, heading, paragraph
from pipeline.report.labels import Labels
from pipeline.report.material import Material
from pipeline.report.rows import distinct, number, of
from pipeline.report.sentences import concern_texts
from pipeline.report.tables import EMPTY, Cell, Line, Table, as_html
from pipeline.report.technique_raters import raters_blocks
from pipeline.report.text import count_of, estimate_text, fixed, interval_text, whole
from shared.estimate import Estimate

RATERS = "osteotomy_ratio_raters"
USUAL = (
    "Each item is common practice without a published source: no line is a rule, none scores a "
    "surgeon, and an operation can depart from one for good reason (an osteotomy is shallower in "
    "a small tibia, a band is added because a bridge broke)."
)


def technique_section(material: Material) -> Section:
    """Show adherence by clinic, which ratio was used, and the agreement of raters."""
    table = adherence_table(material)
    if not table.lines:
        nothing = paragraph("Nothing of the technique is recorded.")
        return Section("technique", "How usual the technique was", "Technique", (nothing,))
    blocks = [paragraph(USUAL), as_html(table), *_value_used(material)]
    blocks += raters_blocks(material)
    return Section("technique", "How usual the technique was", "Technique", tuple(blocks))


def adherence_table(material: Material) -> Table:
    """Share as is usual by item and clinic, and median and quartiles of the ratios behind them."""
    rows = [row for row in of(material.rows, analysis="adherence") if row.term != RATERS]
    clinics = distinct(row.group for row in rows)
    lines: list[Line] = []
    for measure, title in (("proportion", "As is usual, per 100 (95% interval)"),
                           ("median", "Median (quartiles)")):  # fmt: skip
        here = of(rows, measure)
        if here:
            lines.append(Line(title))
        for term in distinct(row.term for row in here):
            found = {row.group: row for row in here if row.term == term}
            cells = (_cell(found.get(clinic), rows) for clinic in clinics)
            lines.append(Line(material.labels.name(term), tuple(cells), indented=True))
    return Table(
        id="adherence", caption="Technique as is usual (common practice, no source), by clinic",
        columns=("Item", *(_name(clinic, material.labels) for clinic in clinics)),
        lines=tuple(lines),
        notes=("Of the stifles to which an item applies and in which it is recorded.",),
    )  # fmt: skip


def _cell(row: Estimate | None, rows: Sequence[Estimate]) -> Cell:
    if row is None:
        return EMPTY
    if row.n == 0:
        return Cell("not recorded", row.row_id)
    if row.measure == "median":
        return _quartile_cell(row, rows)
    if row.estimate is None:
        return Cell(estimate_text(row), row.row_id, concerns=concern_texts(row))
    known = f"{whole(row.events or 0)} of {whole(row.n or 0)}"
    detail = f"{interval_text(row)}\n{known}" + _unknown(row)
    return Cell(estimate_text(row), row.row_id, detail=detail, concerns=concern_texts(row))


def _quartile_cell(row: Estimate, rows: Sequence[Estimate]) -> Cell:
    if row.estimate is None:
        return Cell(estimate_text(row), row.row_id, concerns=concern_texts(row))
    own = [
        item for item in of(rows, "quartile") if (item.group, item.term) == (row.group, row.term)
    ]
    limits = [number(fixed(item.estimate or 0.0, 2), item.row_id) for item in own]
    text = Markup("{} ({})").format(fixed(row.estimate, 2), Markup(" to ").join(limits))
    return Cell(text, row.row_id, detail=f"{whole(row.n or 0)} stifles{_unknown(row)}")


def _unknown(row: Estimate) -> str:
    return f", {whole(row.n_dropped)} not recorded" if row.n_dropped else ""


def _value_used(material: Material) -> list[Markup]:
    """Say which value stands for the osteotomy depth ratio, and in how many stifles."""
    rows = [row for row in of(material.rows, "count", analysis="adherence")
            if row.term == RATERS and row.group == ALL]  # fmt: skip
    if not rows:
        return []
    said = [
        Markup("{} of {}").format(
            number(count_of(row), row.row_id),
            "the surgeon's own measures" if row.level == "0" else
            "one blinded rater" if row.level == "1" else f"the mean of {row.level} blinded raters",
        )
        for row in rows
    ]  # fmt: skip
    return [
        heading("Which value is used where raters differ"),
        paragraph(
            Markup(
                "The osteotomy depth ratio is the mean over the blinded raters of the image taken "
                "right after surgery, each rater's readings averaged first; without such readings "
                "it is that of the surgeon's own measures. Of the stifles with a transposition "
                "and a ratio: {}."
            ).format(Markup("; ").join(said))
        ),
    ]


def _name(clinic: str, labels: Labels) -> str:
    return "All" if clinic == ALL else labels.clinic(clinic)
