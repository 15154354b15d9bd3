"""What the data show of a clinic: each pattern once where it is planted, and never elsewhere."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from scipy import stats

from pipeline.checks.judge import still_asked
from pipeline.checks.patterns import what_data_show
from pipeline.checks.patterns_digits import as_written, last_digits, preference_score
from pipeline.checks.rows import complete
from pipeline.checks.words import query_ids
from pipeline.intake.mapped import COLUMN_SCHEMA, RAW
from pipeline.queries import queries_of
from schemas.codebook import read_codebook

CLINICS = ("north", "lake", "valley", "harbour")
PER_CLINIC = 150
CODEBOOK = read_codebook()
HEADERS = pl.DataFrame(
    [("lake", "stifles.csv", "", "stifles", "", "weight_kg", "Poids (kg)")],
    schema=dict(COLUMN_SCHEMA), orient="row",
)  # fmt: skip
Column = Sequence[Any]


def _clean() -> dict[str, dict[str, Column]]:
    """Draw the stifles of four clinics that are alike, each of its own animals."""
    rng = np.random.default_rng(11)
    made: dict[str, dict[str, Column]] = {}
    for clinic in CLINICS:
        weights = np.round(np.exp(rng.normal(2.0, 0.7, PER_CLINIC)), 1)
        made[clinic] = {
            "weight_kg": weights.tolist(),
            RAW + "weight_kg": [f"{weight:.1f}" for weight in weights],
            "cruciate_status": rng.choice(
                ["intact", "partial_rupture"], PER_CLINIC, p=[0.7, 0.3]).tolist(),
            "surgery_date": [date(2020, 1, 1) + timedelta(days=int(day))
                             for day in rng.integers(0, 1400, PER_CLINIC)],
        }  # fmt: skip
    return made


def _shown(changed: Mapping[str, Column] | None = None, *, shifted: bool = False,
           rechecks: pl.DataFrame | None = None) -> pl.DataFrame:  # fmt: skip
    """Show the patterns of a study of which lake has these columns instead of its own."""
    made = _clean()
    made["lake"] |= dict(changed or {})
    stifles = pl.concat([
        pl.DataFrame(columns).with_columns(
            clinic_id=pl.lit(clinic),
            local_animal=pl.format("A{}", pl.int_range(pl.len())),
        ) for clinic, columns in made.items()
    ])  # fmt: skip
    clinics = pl.DataFrame({"clinic_id": CLINICS, "dates_shifted": [shifted] * len(CLINICS)})
    tables = {"stifles": stifles, "clinics": clinics}
    if rechecks is not None:
        tables["rechecks"] = rechecks
    return what_data_show(complete(tables, CODEBOOK), CODEBOOK, columns=HEADERS)


def _asked(found: pl.DataFrame) -> list[tuple[str, str, str]]:
    return found.select("rule", "clinic_id", "variable").rows()


def _written(weights: Column) -> dict[str, Column]:
    return {"weight_kg": weights, RAW + "weight_kg": [f"{weight:.1f}" for weight in weights]}


def test_clinics_that_are_alike_are_asked_nothing() -> None:
    assert _shown().is_empty()


def test_rounded_weights_are_asked_about_once() -> None:
    rounded = [round(2 * weight) / 2 for weight in _clean()["lake"]["weight_kg"]]
    found = _shown(_written(rounded))
    assert _asked(found) == [("D01", "lake", "weight_kg")]
    row = found.row(0, named=True)
    assert row["row"] is None
    assert row["column"] == "Poids (kg)"
    assert row["says"].endswith("150 of 150 end in 0 or 5, where a fifth is to be expected.")


def test_few_rounded_weights_are_no_proof() -> None:
    columns = {name: values[:90] for name, values in _clean()["lake"].items()}
    rounded = [round(2 * weight) / 2 for weight in columns["weight_kg"]]
    few = columns | _written(rounded)
    padded = {name: [*values, *[None] * 60] for name, values in few.items()}
    assert _shown(padded).is_empty()


def test_a_default_that_nobody_changed_is_asked_about() -> None:
    found = _shown({"cruciate_status": ["intact"] * PER_CLINIC})
    assert _asked(found) == [("D02", "lake", "cruciate_status")]
    assert found["says"][0].endswith("150 of 150: Intact.")


def test_an_answer_that_is_common_everywhere_is_no_default() -> None:
    common = ["intact"] * 120 + ["partial_rupture"] * 30
    assert _shown({"cruciate_status": common}).is_empty()


def test_one_weight_in_many_rows_is_asked_about() -> None:
    weights = [10.3] * 45 + list(_clean()["lake"]["weight_kg"][45:])
    assert ("D02", "lake", "weight_kg") in _asked(_shown(_written(weights)))
    weights = [10.3] * 15 + list(_clean()["lake"]["weight_kg"][15:])
    assert ("D02", "lake", "weight_kg") not in _asked(_shown(_written(weights)))


def test_weights_in_pounds_are_far_from_those_of_the_others() -> None:
    own = _clean()["lake"]["weight_kg"]
    found = _shown(_written([round(2.2046 * weight, 1) for weight in own]))
    assert _asked(found) == [("D03", "lake", "weight_kg")]
    assert "far above" in found["says"][0]
    assert _shown(_written([round(1.3 * weight, 1) for weight in own])).is_empty()


def test_codes_that_are_shifted_are_far_from_those_of_the_others() -> None:
    swapped = ["partial_rupture"] * 105 + ["intact"] * 45
    assert _asked(_shown({"cruciate_status": swapped})) == [("D03", "lake", "cruciate_status")]


def _visits(same: Mapping[str, float]) -> pl.DataFrame:
    """Draw two visits of 60 lame knees a clinic; in this share of them the second is the first."""
    rng = np.random.default_rng(3)
    rows: list[dict[str, Any]] = []
    for clinic in CLINICS:
        for number in range(60):
            copied = rng.random() < same.get(clinic, 0.2)
            knee = {"clinic_id": clinic, "local_stifle": f"A{number}:left", "patella_grade": 0,
                    "recheck_mode": "operating_clinic", "row_id": f"{clinic}/{number}"}  # fmt: skip
            rows += [knee | {"recheck_day": 42, "lameness_score": 2},
                     knee | {"recheck_day": 90, "lameness_score": 2 if copied else 1}]  # fmt: skip
    return pl.DataFrame(rows)


def test_rechecks_copied_forward_are_asked_about() -> None:
    found = _shown(rechecks=_visits({"lake": 0.97}))
    assert ("D04", "lake", "lameness_score") in _asked(found)
    assert "D04" not in set(_shown(rechecks=_visits({"lake": 0.5}))["rule"])


def test_knees_that_are_well_twice_are_no_copies() -> None:
    well = _visits({"lake": 0.97}).with_columns(lameness_score=pl.lit(0))
    assert "D04" not in set(_shown(rechecks=well)["rule"])


def test_operations_on_the_first_of_the_month_are_asked_about() -> None:
    first = [day.replace(day=1) if place < 50 else day
             for place, day in enumerate(_clean()["lake"]["surgery_date"])]  # fmt: skip
    found = _shown({"surgery_date": first})
    assert _asked(found) == [("D05", "lake", "surgery_date")]
    assert "are on day 1." in found["says"][0]
    assert _shown({"surgery_date": first}, shifted=True).is_empty()


def test_a_confirmed_pattern_is_asked_about_no_more() -> None:
    found = _shown({"cruciate_status": ["intact"] * PER_CLINIC})
    assert still_asked(found, frozenset(query_ids(found)), frozenset()).is_empty()


def test_patterns_stand_in_the_list_of_questions_without_a_row() -> None:
    found = _shown({"cruciate_status": ["intact"] * PER_CLINIC})
    queries = queries_of(found, "lake", {("stifles", "cruciate_status"): "Cruciate ligament"})
    assert queries.select("row", "animal", "column", "priority").rows() == [
        (None, "whole export", "Cruciate ligament", "4 please confirm")
    ]


def test_the_score_is_the_root_of_chi_square() -> None:
    """Defining equation of the score, with scipy's chi-square; p of its limit at 100 values."""
    digits = np.random.default_rng(5).integers(0, 10, 400).astype(float) // 2 * 2
    chi_square = stats.chisquare(np.bincount(digits.astype(int), minlength=10)).statistic
    assert preference_score(digits) == pytest.approx(100 * np.sqrt(chi_square / (9 * 400)))
    assert preference_score(np.tile(np.arange(10, dtype=np.float64), 10)) == 0
    assert preference_score(np.full(50, 5.0)) == pytest.approx(100)
    assert stats.chi2.sf(0.2**2 * 9 * 100, 9) < 1e-4


def test_numbers_are_read_as_the_clinic_wrote_them() -> None:
    grams = pl.Series(["2.950,0", "12.480,0", "980,0"])
    assert as_written(grams, np.array([2.95, 12.48, 0.98])).tolist() == [2950, 12480, 980]
    pounds = pl.Series(["27.3", "4", "11.25"])
    kg = np.array([27.3, 4, 11.25]) * 0.45359237
    assert as_written(pounds, kg).tolist() == [27.3, 4, 11.25]


def test_digits_are_judged_at_the_precision_of_the_column_and_over_whole_decades() -> None:
    assert set(last_digits(np.arange(20, 60, 0.5))) == {0, 5}
    assert last_digits(np.arange(1, 15.0)).size == 0
    assert last_digits(np.arange(1, 150.0)).size == 149
