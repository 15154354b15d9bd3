"""The tests of each term of a logistic model, all its levels or all of its curve at once."""

from collections.abc import Sequence

from pipeline.plan import Analysis
from pipeline.report.effects import concern_texts
from pipeline.report.labels import Labels
from pipeline.report.rows import distinct, of
from pipeline.report.tables import Cell, Line, Table
from pipeline.report.text import p_text
from shared.estimate import Estimate

TESTS = {
    "wald": "Wald",
    "score": "Score",
    "likelihood_ratio": "Likelihood ratio",
    "penalised_likelihood_ratio": "Penalised likelihood ratio",
}


def term_tests_table(rows: Sequence[Estimate], analysis: Analysis, labels: Labels) -> Table:
    """List the tests of each term of the model that answers the question; maybe no lines."""
    found = [
        row for row in of(rows, "test", analysis=analysis.id)
        if row.term in TESTS and row.level is not None and row.role == analysis.role
        and analysis.model == "logistic" and row.adjustment == "adjusted"
    ]  # fmt: skip
    kinds = [kind for kind in TESTS if any(row.term == kind for row in found)]
    lines: list[Line] = []
    for term in distinct(row.level for row in found):
        own = {row.term: row for row in found if row.level == term}
        name = " and ".join(labels.name(part) for part in term.split(":"))
        together = " together" if ":" in term else ""
        degrees = f"{next(iter(own.values())).df:g}"
        cells = [_cell(own.get(kind)) for kind in kinds]
        lines.append(Line(f"{name}{together}", (Cell(degrees), *cells)))
    methods = "; ".join(distinct(labels.words(row.method or "") for row in found))
    return Table(
        id=f"tests-{analysis.id}".replace("_", "-"), lines=tuple(lines),
        caption="Tests of each term of the adjusted model, all its levels at once",
        columns=("Term", "Degrees of freedom", *(f"{TESTS[kind]}, p" for kind in kinds)),
        notes=(f"Model: {methods}.", "A term stays in the model whatever its p."),
    )  # fmt: skip


def _cell(row: Estimate | None) -> Cell:
    if row is None:
        return Cell("")
    return Cell(p_text(row.p_value), row.row_id, concerns=concern_texts(row))
