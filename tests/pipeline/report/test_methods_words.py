"""The methods paragraph names each model, its sets or strata, and errors that are not the usual."""

from dataclasses import replace
from typing import Any

import pytest

from pipeline.plan import parse_analysis
from pipeline.report.material import Material
from pipeline.report.methods import methods_paragraphs

COMMON: dict[str, Any] = {
    "id": "a", "outcome": "relux_by_365", "exposure": "sulcoplasty_type",
    "levels": ["wedge_recession", "block_recession"],
}  # fmt: skip


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"model": "stratified_table", "strata": ["clinic_id"]},
         "within clinic by the weights of Mantel and Haenszel. Only stifles with a known outcome"),
        ({"model": "paired_table", "matched_set": "animal_id"},
         "within animal in pairs by McNemar's and exact tests."),
        ({"model": "conditional_logistic", "matched_set": "animal_id",
          "adjust_for": ["grade_preop"]},
         "within animal by conditional logistic regression. Only stifles with a known outcome were "
         "used. Adjusted for "),
        ({"model": "logistic", "variance": "CR2", "cluster": "clinic_id",
          "estimator": "maximum_likelihood"}, "bias-reduced (CR2)"),
        ({"model": "logistic", "cluster": "animal_id"},
         "primary, with limits from the larger of errors robust by cluster and errors of the "
         "model, number by number; for a term"),
        ({"model": "logistic", "cluster": "clinic_id", "variance": "wild_bootstrap",
          "estimator": "maximum_likelihood"}, "a wild bootstrap of the scores of clusters"),
        ({"model": "logistic", "intercept": "corrected"},
         "they are profiled. Risks of penalised models rest on an intercept fitted anew"),
        ({"model": "logistic", "estimator": "exact"}, "Ratios are exact: given the totals of"),
        ({"model": "logistic", "cluster": "animal_id", "variance": "CR1"},
         "primary, with limits from errors robust by cluster; for a term"),
        ({"model": "logistic", "cluster": "animal_id", "variance": "larger_of_robust_and_model"},
         "Limits come from the larger of errors robust by cluster and errors of the model"),
    ],
)  # fmt: skip
def test_each_model_has_its_words(material: Material, change: dict[str, Any], words: str) -> None:
    asked = replace(material, analyses=(parse_analysis(COMMON | change),))
    text = " ".join(paragraph.unescape() for paragraph in methods_paragraphs(asked))
    assert words in text


@pytest.mark.parametrize(("time", "said"), [("relux_day", True), ("death_day", False)])
def test_days_to_the_visit_that_found_an_event_are_called_so(
    material: Material, time: str, said: bool
) -> None:
    plan = {key: value for key, value in COMMON.items() if key != "outcome"} | {
        "model": "restricted_mean", "time": time, "horizon": [365], "event": "relux_state",
        "event_of_interest": "reluxation", "censored": "censored",
    }  # fmt: skip
    asked = replace(material, analyses=(parse_analysis(plan),))
    text = " ".join(paragraph.unescape() for paragraph in methods_paragraphs(asked))
    assert ("until the event was found at a visit, not until its onset" in text) == said
