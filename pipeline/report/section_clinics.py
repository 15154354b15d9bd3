"""Clinics around what their case mix lets expect, with recheck completeness beside; no ranking."""

from markupsafe import Markup

from pipeline.report.blocks import Section, heading, paragraph, picture
from pipeline.report.cells import cell_of
from pipeline.report.funnels import ClinicRows, clinic_rows, compared_outcomes, funnel_figure
from pipeline.report.labels import Labels, small
from pipeline.report.material import Material
from pipeline.report.pictures import Pictures
from pipeline.report.rows import number, of
from pipeline.report.sentences import concern_texts
from pipeline.report.tables import EMPTY, Cell, Line, Table, as_html
from pipeline.report.text import (
    count_of,
    estimate_and_interval,
    fixed,
    letter_of,
    p_equation,
    whole,
)
from shared.estimate import Estimate


def clinics_section(material: Material, pictures: Pictures) -> Section:
    """Compare clinics for every outcome of the protocol."""
    blocks = [
        paragraph(
            "Each clinic's events are set against those to be expected if its stifles had fared "
            "as stifles of the same kind did in all clinics. Points between the limits differ by "
            "no more than chance. This is no ranking: a clinic that looks more often finds more, "
            "so read the share rechecked beside each point, and letters say nothing of order."
        )
    ]
    letters = letters_in_order(material)
    for outcome in compared_outcomes(material.rows):
        blocks += _one_outcome(outcome, letters, material, pictures)
    if len(blocks) == 1:
        blocks = [paragraph("Clinics could not be compared.")]
    return Section("clinics", "Clinics and their case mix", "Clinics", tuple(blocks))


def letters_in_order(material: Material) -> dict[str, str]:
    """Letters of the coordinator's own report, in the order of clinic codes."""
    return {
        clinic: letter_of(place).upper()
        for place, clinic in enumerate(sorted(material.study.clinics))
    }


def comparison_table(
    clinics: list[ClinicRows], names: dict[str, str], labels: Labels, *, outcome: str
) -> Table:
    """Observed, expected, their ratio and the share rechecked, one line per clinic."""
    lines = tuple(
        Line(
            names[item.clinic],
            (
                _count(item.observed),
                _expected(item.expected),
                cell_of(item.ratio),
                Cell(whole(item.ratio.n or 0), item.ratio.row_id),
                _share(item.completeness),
            ),
        )
        for item in sorted(clinics, key=lambda item: names[item.clinic])
    )
    return Table(
        id=f"clinics-{outcome}".replace("_", "-"),
        caption=f"{labels.outcome(outcome)}: observed against expected, by clinic",
        columns=(
            "Clinic", "Observed", "Expected", "Observed over expected (95% interval)", "Stifles",
            "Rechecked in days 92 to 183, per 100",
        ),
        lines=lines,
    )  # fmt: skip


def comparison_tables(material: Material) -> list[Table]:
    """Give the table of every outcome, clinics with letter and name."""
    return [_named_table(outcome, material) for outcome in compared_outcomes(material.rows)]


def _named_table(outcome: str, material: Material) -> Table:
    letters, clinics = letters_in_order(material), clinic_rows(material.rows, outcome)
    names = {
        item.clinic: f"{letters[item.clinic]}: {material.labels.clinic(item.clinic)}"
        for item in clinics
    }
    return comparison_table(clinics, names, material.labels, outcome=outcome)


def _one_outcome(
    outcome: str, letters: dict[str, str], material: Material, pictures: Pictures
) -> list[Markup]:
    clinics = clinic_rows(material.rows, outcome)
    label = material.labels.outcome(outcome)
    table = as_html(_named_table(outcome, material))
    blocks = [heading(label)]
    figure = funnel_figure(clinics, material.curves, names=letters, outcome=(outcome, label))
    if figure is not None:
        blocks.append(
            picture(
                pictures.draw(f"funnel-{outcome}".replace("_", "-"), figure),
                alt=f"Clinics as letters around the ratio 1 for {small(label)}; numbers below.",
                caption=f"{label}: observed over expected events by clinic, with the limits "
                "between which 95% and 99.8% of clinics fall by chance.",
                numbers=table,
            )
        )
    else:
        blocks.append(table)
    spread = next(iter(of(_tests(material, outcome), "test")), None)
    if spread is not None:
        blocks.append(paragraph(_spread_sentence(spread)))
    return blocks


def _tests(material: Material, outcome: str) -> list[Estimate]:
    return [row for row in material.rows if row.outcome == outcome and row.term == "overdispersion"]


def _spread_sentence(row: Estimate) -> Markup:
    said = "Clinics differ more than chance explains" if row.concerns else (
        "Clinics do not clearly differ by more than chance explains"
    )  # fmt: skip
    return Markup("{} ({}).").format(said, number(p_equation(row.p_value), row.row_id))


def _count(row: Estimate | None) -> Cell:
    return EMPTY if row is None else Cell(count_of(row), row.row_id)


def _expected(row: Estimate | None) -> Cell:
    return EMPTY if row is None else Cell(fixed(row.estimate or 0, 1), row.row_id)


def _share(row: Estimate | None) -> Cell:
    if row is None:
        return EMPTY
    detail = f"{whole(row.events or 0)} of {whole(row.n or 0)}"
    return Cell(estimate_and_interval(row), row.row_id, detail=detail, concerns=concern_texts(row))
