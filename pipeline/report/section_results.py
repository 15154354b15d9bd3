"""One section per question: risks first, then curves, ratios and doubts; then the whole forest."""

from collections.abc import Sequence

import polars as pl
from markupsafe import Markup

from pipeline.plan import Analysis
from pipeline.report.blocks import IconArm, Section, fold, heading, icons, paragraph, picture
from pipeline.report.draw_curves import Arm, at_risk, draw_curves, value_at
from pipeline.report.draw_forest import ForestLine, draw_forest
from pipeline.report.effects import (
    Contrast,
    analysis_title,
    contrast_at,
    covariate_rows,
    covariate_table,
    effect_rows,
    effect_table,
    risk_rows,
    risk_table,
)
from pipeline.report.figures import data_uri, svg_of
from pipeline.report.labels import MEASURES, plain, small
from pipeline.report.material import Material, Question
from pipeline.report.pictures import Picture, Pictures
from pipeline.report.rows import curve_id, days_of, distinct, number, of
from pipeline.report.sentences import (
    doubt_sentence,
    needed_sentence,
    ratio_sentence,
    risk_sentence,
    versus,
)
from pipeline.report.tables import Cell, Line, Table, as_html
from pipeline.report.text import RATIOS, day_text, estimate_and_interval, fixed, whole
from shared.estimate import Estimate


def question_section(question: Question, material: Material, pictures: Pictures) -> Section:
    """Answer one question."""
    blocks: list[Markup] = []
    blocks += answer(question, material)
    for analysis in question.analyses:
        if risk_rows(material.rows, analysis):
            blocks.append(as_html(risk_table(material.rows, analysis, material.labels)))
        blocks += curves_of(analysis, material, pictures)
    table = effect_table(
        material.rows, question.analyses, material.labels, table_id=f"effects-{question.id}"
    )
    if table.lines:
        blocks += [heading("Ratios, and what they rest on"), as_html(table)]
    for analysis in question.analyses:
        if covariate_rows(material.rows, analysis):
            terms = covariate_table(material.rows, analysis, material.labels)
            blocks.append(
                fold(f"Other terms: {analysis_title(analysis, material.labels)}", as_html(terms))
            )
    return Section(
        question.id, question.text, versus(question.lead, material.labels) or question.text,
        tuple(blocks),
    )  # fmt: skip


def answer(question: Question, material: Material) -> list[Markup]:
    """Say the answer: risks of 100 stifles, their difference, the ratio, and what stays open."""
    blocks: list[Markup] = []
    found = leading_contrast(question, material)
    if found is not None:
        analysis, contrast = found
        exposure = analysis.exposure or ""
        text = risk_sentence(
            (contrast.reference, contrast.other), contrast.difference,
            exposure=exposure, labels=material.labels,
        )  # fmt: skip
        blocks.append(paragraph(_spaced(text, doubt_sentence(contrast.difference)), "answer"))
        blocks.append(_icons(contrast, analysis, material))
        if contrast.needed is not None:
            blocks.append(paragraph(needed_sentence(contrast.needed)))
    for crude, adjusted in ratio_pairs(question, material):
        blocks.append(paragraph(ratio_sentence(crude, adjusted)))
    return blocks


def leading_contrast(question: Question, material: Material) -> tuple[Analysis, Contrast] | None:
    """Find the last day's contrast, in the first analysis of the question that has one."""
    for analysis in question.analyses:
        for day in reversed(days_of(risk_rows(material.rows, analysis))):
            if len(analysis.levels) > 1:
                found = contrast_at(material.rows, analysis, level=analysis.levels[-1], day=day)
                if found:
                    return analysis, found
    return None


def ratio_pairs(
    question: Question, material: Material
) -> list[tuple[Estimate | None, Estimate | None]]:
    """Crude and adjusted ratio of each regression of a question."""
    pairs: list[tuple[Estimate | None, Estimate | None]] = []
    for analysis in question.analyses:
        ratios = of(effect_rows(material.rows, analysis), *sorted(RATIOS))
        for measure in distinct(row.measure for row in ratios if row.day is None):
            crude, adjusted = (
                next((row for row in ratios if (row.measure, row.adjustment) == (measure, kind)),
                     None)
                for kind in ("crude", "adjusted")
            )  # fmt: skip
            if crude or adjusted:
                pairs.append((crude, adjusted))
    return pairs


def curves_of(analysis: Analysis, material: Material, pictures: Pictures) -> list[Markup]:
    """Draw the curves of the event of interest by arm, with numbers at risk."""
    arms = arms_of(analysis, material)
    days = list(analysis.horizon)
    if not arms or not days:
        return []
    outcome = material.labels.outcome(analysis.event, analysis.event_of_interest)
    figure = draw_curves(arms, days, outcome=outcome)
    caption = (
        f"{outcome} after surgery by arm, with 95% intervals and the stifles still at risk. "
        "Days are those on which it was found."
    )
    name = f"curves-{analysis.id}"
    pictures.add(Picture(name, figure))
    alt = f"Two rising step curves of {small(outcome)}; their numbers stand in the table below."
    numbers = as_html(curve_table(analysis, arms, days, caption=f"{outcome} per 100 by arm"))
    return [picture(data_uri(svg_of(figure)), alt=alt, caption=caption, numbers=numbers)]


def arms_of(analysis: Analysis, material: Material) -> list[Arm]:
    """Curves of an analysis in the order of its levels."""
    curves = material.curves.filter(pl.col("analysis") == analysis.id)
    if analysis.event_of_interest:
        curves = curves.filter(
            pl.col("state").is_null() | (pl.col("state") == analysis.event_of_interest)
        )
    arms: list[Arm] = []
    for level in analysis.levels:
        points = curves.filter(pl.col("group") == level).sort("day")
        if len(points):
            label = material.labels.arm(analysis.exposure or "", level)
            look = material.look(analysis.exposure, level)
            arms.append(Arm(group=level, label=label, points=points, look=look))
    return arms


def curve_table(
    analysis: Analysis, arms: Sequence[Arm], days: Sequence[float], *, caption: str
) -> Table:
    """Heights and numbers at risk on the days of the analysis."""
    state = analysis.event_of_interest or ""
    lines: list[Line] = []
    for arm in arms:
        lines.append(Line(arm.label))
        for day in (0.0, *days):
            low, middle, high = (
                fixed(100 * value_at(arm.points, day, name), 1)
                for name in ("low", "estimate", "high")
            )
            height = curve_id(analysis.id, arm.group, state, day=day, what="estimate")
            at_id = curve_id(analysis.id, arm.group, state, day=day, what="n_at_risk")
            cells = (
                Cell(f"{middle} ({low} to {high})" if day else middle, height),
                Cell(whole(at_risk(arm.points, day)), at_id),
            )
            lines.append(Line(day_text(day) if day else "Surgery", cells, indented=True))
    return Table(
        id=f"curve-{analysis.id}", caption=caption,
        columns=("By", "Per 100 (95% interval)", "At risk"), lines=tuple(lines),
    )  # fmt: skip


def forest_section(material: Material, pictures: Pictures) -> Section:
    """Put all ratios on one scale."""
    lines: list[ForestLine] = []
    shown: list[Line] = []
    for question in material.questions:
        rows = [(analysis, row) for analysis in question.analyses
                for row in of(effect_rows(material.rows, analysis), *sorted(RATIOS))]  # fmt: skip
        if rows:
            title = versus(question.lead, material.labels)
            lines.append(ForestLine(title))
            shown.append(Line(title))
        for analysis, row in rows:
            name = forest_name(row)
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


def forest_name(row: Estimate) -> str:
    """Name a ratio on the forest plot."""
    name = plain(MEASURES.get(row.measure, row.measure))
    when = f" at {day_text(row.day)}" if row.day is not None else ""
    penalised = ", penalised" if "penalised" in row.concerns else ""
    weighted = ", complete cases" if "outcome_selected_by_follow_up" in row.concerns else ""
    return f"{name}{when}, {row.adjustment or 'crude'}{penalised}{weighted}"


def _icons(contrast: Contrast, analysis: Analysis, material: Material) -> Markup:
    arms: list[IconArm] = []
    for row in (contrast.reference, contrast.other):
        level = row.group or row.level or ""
        filled = round(100 * (row.estimate or 0.0))
        arm = material.labels.arm(analysis.exposure or "", level)
        outcome = small(material.labels.outcome(row.outcome, row.state))
        caption = Markup("<strong>{}</strong>: about {} of 100 within {}").format(
            arm, number(whole(filled), row.row_id), day_text(row.day or 0)
        )
        arms.append(
            IconArm(
                filled=filled,
                caption=caption,
                colour=material.look(analysis.exposure, level).colour,
                alt=f"{arm}: a hundred dots, {filled} of them filled for {outcome}.",
            )
        )  # fmt: skip
    return icons(arms)


def _spaced(*parts: Markup) -> Markup:
    return Markup(" ").join(part for part in parts if part)
