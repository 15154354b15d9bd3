"""The answer to a question in sentences and in a hundred dots per arm."""

from markupsafe import Markup

from pipeline.plan import Analysis
from pipeline.report.blocks import IconArm, Section, heading, icons, paragraph
from pipeline.report.effects import (
    Contrast,
    contrast_at,
    effect_rows,
    risk_rows,
)
from pipeline.report.labels import small
from pipeline.report.material import Material, Question
from pipeline.report.rows import days_of, distinct, number, of
from pipeline.report.sentences import (
    adjusted_for,
    doubt_sentence,
    needed_sentence,
    ratio_sentence,
    risk_sentence,
)
from pipeline.report.text import day_text, whole
from shared.estimate import Estimate

ROUNDED = "Each number is rounded by itself, so that a difference may be off by one."


def brief_section(material: Material) -> Section:
    """Give the answers to the primary questions before anything else."""
    blocks: list[Markup] = []
    for question in material.questions:
        found = leading_contrast(question, material)
        if question.role == "primary" and found is not None:
            analysis, contrast = found
            blocks += [
                heading(question.text),
                paragraph(_in_words(analysis, contrast, material), "answer"),
                *([paragraph(needed_sentence(contrast.needed))] if contrast.needed else []),
                _icons(contrast, analysis, material),
            ]
    if blocks:
        blocks.append(paragraph(ROUNDED, "note"))
    else:
        blocks = [paragraph("No risk of a primary question could be estimated.")]
    return Section("brief", "In short", "In short", tuple(blocks))


def answer(question: Question, material: Material) -> list[Markup]:
    """Say the answer: risks of 100 stifles, their difference, the ratio, and what stays open."""
    blocks: list[Markup] = []
    found = leading_contrast(question, material)
    if found is not None:
        analysis, contrast = found
        blocks.append(paragraph(_in_words(analysis, contrast, material), "answer"))
        if contrast.needed is not None:
            blocks.append(paragraph(needed_sentence(contrast.needed)))
    for crude, adjusted in ratio_pairs(question, material):
        blocks.append(paragraph(ratio_sentence(crude, adjusted)))
    return blocks


def _in_words(analysis: Analysis, contrast: Contrast, material: Material) -> Markup:
    text = risk_sentence(
        (contrast.reference, contrast.other), contrast.difference,
        exposure=analysis.exposure or "", labels=material.labels,
    )  # fmt: skip
    parts = (
        text,
        _adjusted_words(contrast, analysis, material),
        doubt_sentence(contrast.difference),
    )
    return Markup(" ").join(part for part in parts if part)


def _adjusted_words(contrast: Contrast, analysis: Analysis, material: Material) -> Markup:
    if contrast.other.adjustment in (None, "crude"):
        return Markup("These risks are not adjusted.")
    return Markup("Adjusted for {}.").format(adjusted_for(analysis, material.labels))


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
    """Crude and adjusted ratio of each regression of a question, of the version the plan asks."""
    pairs: list[tuple[Estimate | None, Estimate | None]] = []
    for analysis in question.analyses:
        ratios = [
            row
            for row in of(effect_rows(material.rows, analysis), "hazard_ratio", "odds_ratio")
            if row.role in (None, analysis.role)
        ]
        for measure in distinct(row.measure for row in ratios):
            crude, adjusted = (
                next((row for row in of(ratios, measure, adjustment=kind)), None)
                for kind in ("crude", "adjusted")
            )
            if crude or adjusted:
                pairs.append((crude, adjusted))
    return pairs


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
