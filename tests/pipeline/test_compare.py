"""Clinic comparison on cohorts made by hand: sums, limits, what is withheld and why."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.stats import poisson

from pipeline.compare import Compared, compare
from pipeline.study import Study, read_study
from shared.errors import PlanError

SIZES = {"alder": 120, "birch": 90, "cedar": 60, "drift": 8, "elder": 12}


def cohort_of(sizes: dict[str, int], *, seed: int = 3, worse: float = 0.0) -> pl.DataFrame:
    rng = np.random.default_rng(seed)
    clinics = np.repeat(list(sizes), list(sizes.values()))
    n = len(clinics)
    grade = rng.integers(2, 5, n)
    weight = rng.normal(1.6, 0.6, n)
    rate = np.exp(-7.3 + 0.5 * (grade - 2) + 0.3 * weight + worse * (clinics == "alder"))
    event = rng.exponential(1 / rate)
    death = rng.exponential(8000, n)
    lost = rng.uniform(20, 900, n)
    day = np.ceil(np.minimum(np.minimum(event, death), lost) / 7).astype(int) * 7
    state = np.where(
        (event <= death) & (event <= lost),
        "reluxation",
        np.where(death <= lost, "death", "censored"),
    )
    return pl.DataFrame(
        {
            "stifle_id": [f"s{place:04d}" for place in range(n)],
            "animal_id": [f"a{place // 2:04d}" for place in range(n)],
            "clinic_id": clinics,
            "left_at": [None] * n,
            "grade_preop": grade,
            "log_weight_kg": weight,
            "age_months": rng.integers(6, 120, n),
            "surgery_year": rng.integers(2015, 2025, n),
            "admin_end_day": rng.integers(100, 3000, n),
            "adequate_183": rng.random(n) < 0.6,
            "relux_day": day,
            "relux_state": state,
        },
        schema_overrides={"left_at": pl.String},
    )


def study_of(folder: Path, **comparison: tuple[str, ...]) -> Study:
    chosen = {"outcomes": ("relux",), **comparison}
    lines = [f"{key} = {list(names)}" for key, names in chosen.items()]
    (folder / "study.toml").write_text("\n".join(['title = "t"', "[comparison]", *lines]))
    return read_study(folder)


def ratios(found: Compared) -> pl.DataFrame:
    return found.results.filter(pl.col("measure") == "standardised_ratio").sort("group")


def counts(found: Compared, term: str) -> pl.DataFrame:
    rows = found.results.filter((pl.col("measure") == "count") & (pl.col("term") == term))
    return rows.sort("group")


def test_observed_and_expected_have_the_same_sum(tmp_path: Path) -> None:
    found = compare(cohort_of(SIZES), study_of(tmp_path))
    observed, expected = (
        counts(found, term)["estimate"].sum() for term in ("observed", "expected")
    )
    assert observed > 20
    assert expected == pytest.approx(observed, rel=1e-10)


def test_ratio_is_observed_over_expected_within_exact_limits(tmp_path: Path) -> None:
    found = compare(cohort_of(SIZES), study_of(tmp_path))
    alder = ratios(found).row(0, named=True)
    expected = counts(found, "expected")["estimate"][0]
    assert alder["estimate"] == pytest.approx(alder["events"] / expected)
    assert 0 < alder["low"] < alder["estimate"] < alder["high"]
    # Poisson: half of 5% lies below and above (Garwood 1936, by the defining equation).
    assert poisson.sf(alder["events"] - 1, alder["low"] * expected) == pytest.approx(0.025)
    assert poisson.cdf(alder["events"], alder["high"] * expected) == pytest.approx(0.025)


def test_small_clinic_and_small_expectation_get_no_ratio(tmp_path: Path) -> None:
    found = ratios(compare(cohort_of(SIZES), study_of(tmp_path)))
    drift = found.row(3, named=True)
    assert (drift["group"], drift["n"]) == ("drift", 8)
    assert drift["estimate"] is None
    assert "too_few" in drift["concerns"]
    assert found["estimate"][:3].null_count() == 0
    assert not any("too_few" in text for text in found["concerns"][:3].to_list())


def test_a_clinic_with_more_events_than_its_case_mix_explains_stands_out(tmp_path: Path) -> None:
    even = ratios(compare(cohort_of(SIZES), study_of(tmp_path)))["estimate"][0]
    worse = compare(cohort_of(SIZES, worse=1.5), study_of(tmp_path))
    assert ratios(worse)["estimate"][0] > even
    test = worse.results.filter(pl.col("term") == "overdispersion").row(0, named=True)
    assert test["p_value"] < 0.05
    assert "overdispersed" in test["concerns"]
    assert all("overdispersed" in text for text in ratios(worse)["concerns"].to_list())


def test_case_mix_alone_moves_no_ratio_far_from_one(tmp_path: Path) -> None:
    """Clinics with worse grades have more events, and as many more expected ones."""
    cohort = cohort_of({"alder": 600, "birch": 600}, seed=8)
    hard = pl.col("clinic_id").eq("alder") | pl.col("grade_preop").lt(4)
    cohort = cohort.filter(hard)
    found = ratios(compare(cohort, study_of(tmp_path)))
    assert found["estimate"].to_list() == pytest.approx([1.0, 1.0], abs=0.2)


def test_completeness_counts_those_operated_long_enough_ago(tmp_path: Path) -> None:
    cohort = cohort_of(SIZES)
    found = compare(cohort, study_of(tmp_path)).results
    row = found.filter((pl.col("measure") == "proportion") & (pl.col("group") == "alder"))
    due = cohort.filter((pl.col("clinic_id") == "alder") & (pl.col("admin_end_day") >= 183))
    assert row["n"][0] == len(due)
    assert row["events"][0] == due["adequate_183"].sum()
    assert row["estimate"][0] == pytest.approx(due["adequate_183"].mean())


def test_rows_without_the_case_mix_are_counted_as_dropped(tmp_path: Path) -> None:
    cohort = cohort_of(SIZES).with_columns(
        log_weight_kg=pl.when(pl.col("stifle_id").is_in(["s0001", "s0002"]))
        .then(None)
        .otherwise("log_weight_kg")
    )
    alder = ratios(compare(cohort, study_of(tmp_path))).row(0, named=True)
    assert (alder["n"], alder["n_dropped"]) == (118, 2)


def test_stifles_that_left_the_protocol_are_not_compared(tmp_path: Path) -> None:
    cohort = cohort_of(SIZES).with_columns(
        left_at=pl.when(pl.col("clinic_id") == "birch").then(pl.lit("grade")).otherwise(None)
    )
    assert "birch" not in ratios(compare(cohort, study_of(tmp_path)))["group"].to_list()


def test_a_grade_without_events_brings_the_penalised_model(tmp_path: Path) -> None:
    cohort = cohort_of(SIZES).with_columns(
        relux_state=pl.when(pl.col("grade_preop") == 2)
        .then(pl.lit("censored"))
        .otherwise("relux_state")
    )
    found = compare(cohort, study_of(tmp_path))
    assert all("penalised" in text for text in ratios(found)["concerns"].to_list())
    observed, expected = (
        counts(found, term)["estimate"].sum() for term in ("observed", "expected")
    )
    assert expected == pytest.approx(observed, rel=1e-8)


def test_without_events_no_ratio_but_the_reason(tmp_path: Path) -> None:
    cohort = cohort_of(SIZES).with_columns(relux_state=pl.lit("censored"))
    found = compare(cohort, study_of(tmp_path))
    assert ratios(found)["estimate"].null_count() == len(SIZES)
    assert all("no_events" in text for text in ratios(found)["concerns"].to_list())
    assert found.curves.is_empty()


def test_one_clinic_alone_is_not_compared(tmp_path: Path) -> None:
    found = compare(cohort_of({"alder": 80}), study_of(tmp_path))
    assert ratios(found)["estimate"].to_list() == [None]
    assert "not_identified" in ratios(found)["concerns"][0]


def test_a_constant_case_mix_variable_is_left_out_and_named(tmp_path: Path) -> None:
    cohort = cohort_of(SIZES).with_columns(surgery_year=pl.lit(2020))
    found = ratios(compare(cohort, study_of(tmp_path)))
    assert found["estimate"][0] is not None
    assert "surgery_year" in found["method"][0].split("left out")[1]


def test_funnel_narrows_and_holds_the_target(tmp_path: Path) -> None:
    curves = compare(cohort_of(SIZES), study_of(tmp_path)).curves
    inner, outer = (
        curves.filter(pl.col("curve") == name).sort("day") for name in ("funnel_95", "funnel_99.8")
    )
    width = (inner["high"] - inner["low"]).to_numpy()
    assert width[0] > width[-1]
    assert (inner["low"] <= 1).all()
    assert (inner["high"] >= 1).all()
    assert (outer["high"] >= inner["high"]).all()


def test_order_of_the_rows_changes_nothing(tmp_path: Path) -> None:
    cohort = cohort_of(SIZES)
    turned = cohort.reverse()
    first, second = (compare(frame, study_of(tmp_path)).results for frame in (cohort, turned))
    assert first.columns == second.columns
    assert first["row_id"].to_list() == second["row_id"].to_list()
    before, after = (frame["estimate"].fill_null(-1.0).to_list() for frame in (first, second))
    assert before == pytest.approx(after, rel=1e-9)


@pytest.mark.parametrize("comparison", [{"outcomes": ("reluks",)}, {"case_mix": ("grade_pre_op",)}])
def test_unknown_column_is_named_with_the_nearest(
    tmp_path: Path, comparison: dict[str, tuple[str, ...]]
) -> None:
    with pytest.raises(PlanError, match="has no column") as caught:
        compare(cohort_of(SIZES), study_of(tmp_path, **comparison))
    assert "Did you mean" in caught.value.do
