"""The main tables of the report as CSV, each number beside the id of its row."""

from pathlib import Path

from pipeline.report.baseline_table import baseline_table
from pipeline.report.effects import effect_table, risk_rows, risk_table
from pipeline.report.follow_up_quality import lost_tables, quality_table
from pipeline.report.material import Material
from pipeline.report.rows import distinct, of
from pipeline.report.section_accrual import accrual_table
from pipeline.report.section_arms import exposures_of
from pipeline.report.section_clinics import comparison_tables
from pipeline.report.section_courses import combined_table
from pipeline.report.section_follow_up import recheck_table
from pipeline.report.section_happened import (
    class_table,
    outcome_table,
    recurrent_table,
    severity_table,
)
from pipeline.report.section_quality import fit_table
from pipeline.report.section_sensitivity import bound_tables, sensitivity_tables
from pipeline.report.section_study import flow_by_clinic, flow_table
from pipeline.report.section_technique import adherence_table
from pipeline.report.section_terms import interaction_table, profile_table
from pipeline.report.section_unknown import bounds_table
from pipeline.report.surgeon_page import PER_100, risk_grid
from pipeline.report.tables import Table, as_csv
from pipeline.report.technique_raters import raters_tables
from shared.files import write_text


def save_tables(material: Material, folder: Path) -> list[Path]:
    """Write one file per table, named by the id of the table."""
    written: list[Path] = []
    for table in report_tables(material):
        if table.lines:
            path = folder / f"{table.id}.csv"
            write_text(path, as_csv(table))
            written.append(path)
    return written


def report_tables(material: Material) -> list[Table]:
    """Give the tables that a paper would take from the report."""
    labels, rows = material.labels, material.rows
    tables = [flow_table(material.flow), flow_by_clinic(material), accrual_table(material)]
    tables += [recheck_table(material), quality_table(material), *lost_tables(material)]
    for exposure in exposures_of(material):
        both = (baseline_table(rows, exposure, labels, role=role) for role in ("baseline", None))
        tables += [table for table in both if table is not None]
    for question in material.questions:
        tables += [
            risk_table(rows, item, labels) for item in question.analyses if risk_rows(rows, item)
        ]
        table_id = f"effects-{question.id}"
        tables.append(effect_table(rows, question.analyses, labels, table_id=table_id))
    tables += [*sensitivity_tables(material), *bound_tables(material), outcome_table(material)]
    tables += [class_table(material), recurrent_table(material), severity_table(material)]
    tables.append(combined_table(material))
    tables += [adherence_table(material), *raters_tables(material)]
    for item in material.analyses:
        own = of(rows, analysis=item.id)
        tables += [
            fit_table(own, item, material), bounds_table(own, item, labels),
            interaction_table(own, item, labels), profile_table(own, item, labels),
        ]  # fmt: skip
    tables += comparison_tables(material)
    risks = of(rows, "risk", analysis=PER_100)
    rechecks = of(rows, "proportion", analysis=PER_100)
    for outcome in distinct(row.outcome for row in risks):
        tables.append(risk_grid(outcome, risks, rechecks, labels))
    return tables
