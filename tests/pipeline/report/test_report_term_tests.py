"""The table of tests of each term: the primary model's, each number with its row."""

from collections.abc import Callable

import pytest

from pipeline.analyse import run_analyses
from pipeline.plan import parse_analyses
from pipeline.report.material import Material
from pipeline.report.tables import as_html
from pipeline.report.term_tests import term_tests_table
from tests.pipeline.analyses.conftest import BY_YEAR, invent_cohort

PLAN = {"id": "year", "role": "secondary", "model": "logistic", **BY_YEAR, "resamples": 0,
        "missing_outcome": "complete_cases"}  # fmt: skip


@pytest.mark.parametrize(
    ("change", "columns"),
    [
        ({"estimator": "penalised"}, ("Wald, p",)),
        ({"estimator": "penalised", "cluster": None}, ("Penalised likelihood ratio, p",)),
        ({"estimator": "maximum_likelihood", "cluster": None},
         ("Wald, p", "Score, p", "Likelihood ratio, p")),
    ],
)  # fmt: skip
def test_tests_of_the_model_that_answers_are_listed(
    changed: Callable[..., Material], change: dict[str, str | None], columns: tuple[str, ...]
) -> None:
    plan = {key: value for key, value in (PLAN | change).items() if value is not None}
    (analysis,) = parse_analyses([plan])
    done = run_analyses(invent_cohort(), (analysis,), codebook={}, on_step=lambda _name: None)
    material = changed(results=done.results)
    table = term_tests_table(material.rows, analysis, material.labels)
    assert table.columns == ("Term", "Degrees of freedom", *columns)
    clinics = next(line for line in table.lines if line.header == "Clinic")
    assert clinics.cells[0].text == "2"
    html = as_html(table)
    told = [row for row in material.rows if row.measure == "test" and row.level == "clinic_id"
            and row.role == "secondary" and row.adjustment == "adjusted"]  # fmt: skip
    assert len(told) == len(columns)
    assert all(f'data-row="{row.row_id}"' in html for row in told)
