"""Which rows of an analysis speak of its contrast, and how they are laid out."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.plan import Analysis
from pipeline.report.cells import count_cell
from pipeline.report.labels import MEASURES, MODELS, Labels, plain, small
from pipeline.report.rows import distinct, of
from pipeline.report.sentences import common_notes, concern_texts
from pipeline.report.tables import Cell, Line, Table
from pipeline.report.text import RATIOS, day_text, estimate_and_interval, p_text, whole
from shared.estimate import Estimate

WEIGHTED = (
    "Weighted: each stifle whose outcome is known stands for those like it whose outcome is not; "
    "complete cases: only stifles whose outcome is known."
)
EFFECTS = (*sorted(RATIOS - {"standardised_ratio"}), "risk_difference", "number_needed_to_treat")
STRETCHES = {"recurrent": "stretches between complications"}  # what is counted there, not stifles
PREFERRED = ("standardised", "adjusted", "crude", None)


@dataclass(frozen=True, slots=True)
class Contrast:
    """The risks of two arms by one day, and their difference."""

    reference: Estimate
    other: Estimate
    difference: Estimate | None
    needed: Estimate | None


def arm_of(row: Estimate, analysis: Analysis) -> str | None:
    """Name the arm a row speaks of."""
    return row.group if row.group in analysis.levels or row.group else row.level


def risk_rows(rows: Sequence[Estimate], analysis: Analysis) -> list[Estimate]:
    """Risks of the event of interest of an analysis, by arm and day."""
    return [
        row
        for row in of(rows, "risk", "proportion", analysis=analysis.id)
        if row.day is not None
        and row.state in (None, analysis.event_of_interest)
        and arm_of(row, analysis) in analysis.levels
        and row.role in (None, analysis.role)
    ]


def effect_rows(rows: Sequence[Estimate], analysis: Analysis) -> list[Estimate]:
    """Effects of the exposure of an analysis: differences, ratios, numbers needed to treat."""
    return [
        row
        for row in of(rows, *EFFECTS, analysis=analysis.id)
        if row.term in (None, analysis.exposure)
        and (row.level is None or row.level != row.reference)
        and row.state in (None, analysis.event_of_interest)
    ]


def last_ratios(analysis: Analysis, rows: Sequence[Estimate]) -> list[Estimate]:
    """Ratios of the exposure of an analysis; of those by day, the last day only."""
    ratios = of(effect_rows(rows, analysis), *sorted(RATIOS))
    last = max((row.day for row in ratios if row.day is not None), default=None)
    return [row for row in ratios if row.day in (None, last)]


def covariate_rows(rows: Sequence[Estimate], analysis: Analysis) -> list[Estimate]:
    """Ratios of the other terms of the models of an analysis."""
    return [
        row
        for row in of(rows, *sorted(RATIOS), analysis=analysis.id)
        if row.term not in (None, analysis.exposure)
        and (row.level is None or row.level != row.reference)
    ]


def contrast_at(
    rows: Sequence[Estimate], analysis: Analysis, *, level: str, day: float
) -> Contrast | None:
    """Find both arms' risks by a day: standardised, else adjusted, else crude."""
    by_day = [
        row for row in risk_rows(rows, analysis) if row.day == day and row.estimate is not None
    ]
    for adjustment in PREFERRED:
        arms = {arm_of(row, analysis): row for row in by_day if row.adjustment == adjustment}
        if analysis.levels[0] in arms and level in arms:
            effects = [
                row
                for row in effect_rows(rows, analysis)
                if row.day == day
                and row.adjustment == adjustment
                and row.level in (level, None)
                and row.role in (None, analysis.role)
            ]
            return Contrast(
                reference=arms[analysis.levels[0]],
                other=arms[level],
                difference=next(iter(of(effects, "risk_difference")), None),
                needed=next(iter(of(effects, "number_needed_to_treat")), None),
            )
    return None


def risk_table(rows: Sequence[Estimate], analysis: Analysis, labels: Labels) -> Table:
    """Risks per 100 of each arm by each day, with their differences."""
    risks = risk_rows(rows, analysis)
    effects = [
        row
        for row in of(effect_rows(rows, analysis), "risk_difference")
        if row.role in (None, analysis.role)
    ]
    lines: list[Line] = []
    for adjustment in distinct(row.adjustment or "crude" for row in (*risks, *effects)):
        lines.append(Line(_adjustment_title(adjustment)))
        for day in sorted({row.day for row in (*risks, *effects) if row.day is not None}):
            here = [row for row in (*risks, *effects)
                    if (row.adjustment or "crude") == adjustment and row.day == day]  # fmt: skip
            if here:
                lines.append(_risk_line(here, analysis, day))
    arms = tuple(labels.arm(analysis.exposure or "", level) for level in analysis.levels)
    others = tuple(f"Difference: {small(arm)}" for arm in arms[1:])
    return Table(
        id=f"risks-{analysis.id}",
        caption=f"{labels.outcome(analysis.event, analysis.outcome_name)} per 100 stifles "
        f"(95% interval)",
        columns=("Within", *arms, *others),
        lines=tuple(lines),
    )


def effect_table(
    rows: Sequence[Estimate], analyses: Sequence[Analysis], labels: Labels, *, table_id: str
) -> Table:
    """All effects of several analyses: estimate, interval, n, events and concerns."""
    lines: list[Line] = []
    for analysis in analyses:
        shown = of(effect_rows(rows, analysis), *sorted(RATIOS))
        if shown:
            lines.append(Line(analysis_title(analysis, labels)))
        lines += [_effect_line(row, analysis) for row in shown]
    return Table(
        id=table_id,
        caption="Ratios with their intervals, the numbers they rest on, and what to mind",
        columns=("Ratio", "Estimate (interval)", "p", "Stifles", "Animals", "Events", "Left out"),
        lines=tuple(lines),
        notes=_effect_notes([row for item in analyses for row in effect_rows(rows, item)]),
    )  # fmt: skip


def _effect_notes(rows: Sequence[Estimate]) -> tuple[str, ...]:
    weighted = any("weighted" in (row.model or "") for row in rows)
    return (*common_notes(rows), *((WEIGHTED,) if weighted else ()))


def covariate_table(rows: Sequence[Estimate], analysis: Analysis, labels: Labels) -> Table:
    """List the other terms of the models, which are no effects to be read."""
    lines = tuple(
        Line(
            f"{term_text(row, labels)}, {row.adjustment or 'crude'}",
            (
                Cell(estimate_and_interval(row), row.row_id, concerns=concern_texts(row)),
                Cell(p_text(row.p_value), row.row_id),
            ),
        )
        for row in covariate_rows(rows, analysis)
    )
    return Table(
        id=f"terms-{analysis.id}",
        caption="The other terms of the models: they are adjusted for, and are not effects to be "
        "read as answers",
        columns=("Term", "Ratio (95% interval)", "p"), lines=lines,
    )  # fmt: skip


def term_text(row: Estimate, labels: Labels) -> str:
    """Name a term of a model: "Grade before surgery: Grade III against Grade II"."""
    name = " and ".join(labels.name(part) for part in (row.term or "").split(":"))
    name += " together" if ":" in (row.term or "") else ""  # an interaction
    if row.level is None:
        return f"{name}, {row.unit}" if row.unit else name
    level = labels.level(row.term, row.level)
    if row.reference is None:
        return f"{name}: {level}"
    return f"{name}: {level} against {small(labels.level(row.term, row.reference))}"


def analysis_title(analysis: Analysis, labels: Labels) -> str:
    """Name an analysis by its model and outcome."""
    model = MODELS.get(analysis.model, small(plain(analysis.model)))
    outcome = labels.outcome(analysis.event, analysis.event_of_interest or analysis.outcome)
    return f"{outcome}: {model}"


def effect_name(row: Estimate) -> str:
    """Name an effect: "Odds ratio at 12 months, adjusted, weighted"."""
    measure = MEASURES.get(row.measure, small(plain(row.measure)))
    when = f" at {day_text(row.day)}" if row.day is not None else ""
    between = " between visits" if row.model == "interval_censored" else ""
    parts = [plain(measure) + between + when, row.adjustment or "crude"]
    if "firth" in (row.model or ""):
        parts.append("penalised")
    if "weighted" in (row.model or ""):
        parts.append("weighted")
    elif "outcome_selected_by_follow_up" in row.concerns:
        parts.append("complete cases")
    return ", ".join(parts)


def _effect_line(row: Estimate, analysis: Analysis) -> Line:
    p_value = p_text(row.p_value)
    return Line(
        effect_name(row),
        (
            Cell(estimate_and_interval(row), row.row_id, concerns=concern_texts(row)),
            Cell(p_value, row.row_id if p_value else ""),
            replace(count_cell(row.n, row.row_id), detail=STRETCHES.get(analysis.table, "")),
            count_cell(row.clusters, row.row_id),
            count_cell(row.events, row.row_id),
            count_cell(row.n_dropped, row.row_id),
        ),
    )


def _risk_line(rows: Sequence[Estimate], analysis: Analysis, day: float) -> Line:
    arms = {arm_of(row, analysis): row for row in rows if row.measure != "risk_difference"}
    differences = {row.level: row for row in rows if row.measure == "risk_difference"}
    cells = [_risk_cell(arms.get(level)) for level in analysis.levels]
    cells += [
        _risk_cell(differences.get(level) or differences.get(None)) for level in analysis.levels[1:]
    ]
    return Line(day_text(day), tuple(cells), indented=True)


def _risk_cell(row: Estimate | None) -> Cell:
    if row is None:
        return Cell("")
    known = row.events is not None and row.n and row.adjustment == "crude" and row.group
    detail = f"{whole(row.events or 0)} found in {whole(row.n or 0)}" if known else ""
    return Cell(estimate_and_interval(row), row.row_id, detail=detail, concerns=concern_texts(row))


def _adjustment_title(adjustment: str) -> str:
    return {
        "crude": "As seen, not adjusted",
        "adjusted": "Adjusted",
        "standardised": "As if all stifles had had one or the other (standardised)",
    }.get(adjustment, plain(adjustment))
