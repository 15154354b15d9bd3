"""Who was in the arms, who used which technique, and what precision was to be expected."""

from collections.abc import Sequence

from markupsafe import Markup

from pipeline.plan import Analysis
from pipeline.report.baseline_table import baseline_differences, baseline_table
from pipeline.report.blocks import Section, fold, paragraph, picture
from pipeline.report.draw_balance import draw_balance
from pipeline.report.effects import analysis_title
from pipeline.report.labels import Labels, plain
from pipeline.report.material import Material
from pipeline.report.pictures import Pictures
from pipeline.report.rows import distinct, of
from pipeline.report.sentences import concern_texts, versus
from pipeline.report.tables import EMPTY, Cell, Line, Table, as_html
from pipeline.report.text import count_of, estimate_and_interval, fixed
from shared.estimate import Estimate


def arms_section(material: Material, pictures: Pictures) -> Section:
    """Describe the arms of every exposure before surgery."""
    blocks = []
    for exposure in exposures_of(material):
        before = baseline_table(material.rows, exposure, material.labels, role="baseline")
        if before is None:
            continue
        blocks.append(as_html(before))
        other = baseline_table(material.rows, exposure, material.labels, role=None)
        if other is not None:
            blocks.append(fold("What was done at surgery, by arm", as_html(other)))
        blocks += _balance(exposure, material, pictures)
    return Section("arms", "Who was in the arms", "Table 1",
                   tuple(blocks) or (paragraph("No exposure is compared."),))  # fmt: skip


def overlap_section(material: Material) -> Section:
    """Show which clinic and surgeon used which technique."""
    blocks = [
        paragraph(
            "Where a clinic or surgeon uses one technique only, technique and hand cannot be told "
            "apart there."
        )
    ]
    for exposure in exposures_of(material):
        for kind, title in (("", "clinic"), ("surgeon_", "surgeon")):
            rows = of(material.rows, "count", analysis=f"overlap_{kind}{exposure}")
            if rows:
                table = as_html(_overlap_table(rows, exposure, title, material.labels))
                name = f"{material.labels.name(exposure)} by surgeon"
                blocks.append(fold(name, table) if kind else table)
    return Section("overlap", "Who used which technique", "Technique by hand", tuple(blocks))


def precision_section(material: Material) -> Section:
    """Show what could be expected of the data before arms were compared."""
    blocks = [
        paragraph(
            "Counted before any outcome was looked at by arm: how many stifles and events there "
            "are, how many events each parameter of the adjusted model has to live on (fewer than "
            "10 is few), and how wide the interval was going to be."
        )
    ]
    lines: list[Line] = []
    for question in material.questions:
        here = [line for item in question.analyses for line in _precision_line(item, material)]
        lines += [Line(versus(question.lead, material.labels) or question.text), *here]
    if lines:
        table = Table(
            id="precision-expected",
            caption="Precision to expect, blind to the arms",
            columns=(
                "Analysis", "Stifles", "Events", "Events per parameter", "Width of the interval",
            ),
            lines=tuple(lines),
        )  # fmt: skip
        blocks.append(as_html(table))
    return Section("precision", "What could be expected", "Precision", tuple(blocks))


def exposures_of(material: Material) -> list[str]:
    """Exposures of the plan, in its order."""
    return distinct(item.exposure for item in material.analyses)


def _overlap_table(rows: Sequence[Estimate], exposure: str, hand: str, labels: Labels) -> Table:
    levels = distinct(row.level for row in rows)
    found = {(row.group, row.level): row for row in rows}
    lines: list[Line] = []
    for group in distinct(row.group for row in rows):
        cells = tuple(_hand_cell(found.get((group, level))) for level in levels)
        lines.append(Line(_hand(group, labels), cells))
    return Table(
        id=f"overlap-{hand}-{exposure}".replace("_", "-"),
        caption=f"{labels.name(exposure)} by {hand}: stifles",
        columns=(plain(hand), *(labels.arm(exposure, level) for level in levels)),
        lines=tuple(lines),
    )  # fmt: skip


def _hand_cell(row: Estimate | None) -> Cell:
    if row is None:
        return EMPTY
    return Cell(count_of(row), row.row_id, concerns=concern_texts(row))


def _hand(group: str, labels: Labels) -> str:
    clinic, slash, surgeon = group.partition(" / ")
    return f"{labels.clinic(clinic)}, {surgeon}" if slash else labels.clinic(clinic)


def _precision_line(analysis: Analysis, material: Material) -> list[Line]:
    rows = [row for row in of(material.rows, analysis=analysis.id) if row.model == "precision"]
    found = {(row.measure, row.term): row for row in rows}
    stifles, events = found.get(("count", "stifles")), found.get(("count", "events"))
    if stifles is None:
        return []
    per = next((row for row in rows if row.measure == "events_per_parameter"), None)
    widths = [row for row in rows if row.measure == "expected_interval_width"]
    title = analysis_title(analysis, material.labels)
    return [
        Line(
            title,
            (
                Cell(count_of(stifles), stifles.row_id),
                Cell(count_of(events), events.row_id) if events else EMPTY,
                EMPTY
                if per is None
                else Cell(estimate_and_interval(per), per.row_id, concerns=concern_texts(per)),
                _width_cell(widths),
            ),
        )
    ]


def _width_cell(widths: Sequence[Estimate]) -> Cell:
    ratio = next((row for row in widths if row.term != "risk_difference"), None)
    row = ratio or next(iter(widths), None)
    if row is None or row.estimate is None:
        return EMPTY if row is None else Cell("not given", row.row_id, concerns=concern_texts(row))
    if row.term == "risk_difference":
        return Cell(f"{fixed(100 * row.estimate, 0)} per 100 from end to end", row.row_id)
    return Cell(f"upper limit {fixed(row.estimate, 1)} times the lower", row.row_id)


def _balance(exposure: str, material: Material, pictures: Pictures) -> list[Markup]:
    named = baseline_differences(material.rows, exposure, material.labels)
    if len(named) < 2:
        return []
    figure = draw_balance([name for name, _ in named], [row.estimate or 0.0 for _, row in named])
    title = material.labels.name(exposure)
    table = Table(
        id=f"balance-{exposure}".replace("_", "-"), caption=f"{title}: standardised differences",
        columns=("Variable", "Standardised difference"),
        lines=tuple(Line(name, (Cell(fixed(abs(row.estimate or 0.0), 2), row.row_id),))
                    for name, row in named),
    )  # fmt: skip
    return [
        picture(
            pictures.draw(f"balance-{exposure}".replace("_", "-"), figure),
            alt=f"{title}: standardised differences of the arms; the numbers stand below.",
            caption=f"{title}: how far the arms lay apart before surgery.",
            numbers=as_html(table),
        )
    ]
