"""One section per question: risks first, then curves, ratios and doubts."""

from markupsafe import Markup

from pipeline.report.answers import answer
from pipeline.report.blocks import Section, fold, heading
from pipeline.report.effects import (
    analysis_title,
    covariate_rows,
    covariate_table,
    effect_table,
    risk_rows,
    risk_table,
)
from pipeline.report.material import Material, Question
from pipeline.report.pictures import Pictures
from pipeline.report.section_between import between_visits
from pipeline.report.section_by_arm import arm_tables
from pipeline.report.section_concordance import concordances
from pipeline.report.section_curves import curves_of
from pipeline.report.section_fitted import distributions_section
from pipeline.report.section_frailty import frailties
from pipeline.report.section_terms import term_blocks
from pipeline.report.sentences import (
    versus,
)
from pipeline.report.tables import as_html
from pipeline.report.term_tests import term_tests_table


def question_section(question: Question, material: Material, pictures: Pictures) -> Section:
    """Answer one question."""
    blocks: list[Markup] = []
    blocks += answer(question, material)
    for analysis in question.analyses:
        if risk_rows(material.rows, analysis):
            blocks.append(as_html(risk_table(material.rows, analysis, material.labels)))
        blocks += arm_tables(analysis, material)
        if analysis.model != "interval_censored":  # drawn beside the days of finding, below
            blocks += curves_of(analysis, material, pictures)
    blocks += between_visits(question, material, pictures)
    blocks += distributions_section(question, material, pictures)
    table = effect_table(
        material.rows, question.analyses, material.labels, table_id=f"effects-{question.id}"
    )
    if table.lines:
        blocks += [heading("Ratios, and what they rest on"), as_html(table)]
    for analysis in question.analyses:
        blocks += term_blocks(analysis, material, pictures)
        blocks += concordances(analysis, material)
        blocks += frailties(analysis, material)
        if covariate_rows(material.rows, analysis):
            terms = covariate_table(material.rows, analysis, material.labels)
            blocks.append(
                fold(f"Other terms: {analysis_title(analysis, material.labels)}", as_html(terms))
            )
        tests = term_tests_table(material.rows, analysis, material.labels)
        if tests.lines:
            blocks.append(
                fold(f"Tests of terms: {analysis_title(analysis, material.labels)}", as_html(tests))
            )
    return Section(
        question.id, question.text, versus(question.lead, material.labels) or question.text,
        tuple(blocks),
    )  # fmt: skip
