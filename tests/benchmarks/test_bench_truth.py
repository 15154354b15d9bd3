"""Bias and coverage of the demo's primary estimates over 200 invented networks of 900 stifles.

Run by ``make bench``: about half an hour on two cores. Canonical tables go straight to linking;
files, intake and checks have tests of their own. The true effects are those of
shared/demo/truth.csv, or nil. Standardised risk differences take 200 bootstrap samples here (the
plan's default is 500).
"""

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from importlib.resources import as_file, files
from multiprocessing import get_context

import numpy as np
import polars as pl
import pytest

SEEDS = 200
REFITS = 200
EXPOSURES = {"relux": "sulcoplasty_type", "band": "tension_band_done", "wires": "kwire_count"}
MEASURES = {"hazard": ("hazard_ratio", "adjusted"), "risk": ("risk_difference", "standardised")}
Publish = Callable[[pl.DataFrame, str, str], None]
ALPHA_BAND = (0.03, 0.08)


def estimates_of(job: tuple[int, bool]) -> list[dict[str, object]]:
    """Simulate one network, build its cohort, and give the six primary estimates with limits."""
    seed, with_effects = job
    from pipeline.analyse import run_analyses
    from pipeline.plan import parse_analyses
    from pipeline.simulate.effects import NO_EFFECTS, Effects
    from tests.benchmarks.known_network import known_network

    study, included = known_network(seed, effects=Effects() if with_effects else NO_EFFECTS)
    wanted = {f"{question}_{model}" for question in EXPOSURES for model in MEASURES}
    fewer = {"seed": seed, "resamples": REFITS, "horizon": [365]}
    blocks = [
        {**block, **(fewer if block["model"] == "cumulative_incidence" else {})}
        for block in study.analyses
        if block["id"] in wanted
    ]
    results = run_analyses(
        included, parse_analyses(blocks), codebook={}, on_step=lambda _name: None
    ).results
    return [row | {"seed": seed} for row in _primary(results)]


def _primary(results: pl.DataFrame) -> Iterable[dict[str, object]]:
    for question, exposure in EXPOSURES.items():
        for model, (measure, adjustment) in MEASURES.items():
            row = results.filter(
                analysis=f"{question}_{model}", measure=measure, adjustment=adjustment,
                term=exposure, role="primary",
            ).filter(pl.col("estimate").is_not_null()).row(0, named=True)  # fmt: skip
            log = np.log if measure == "hazard_ratio" else float
            yield {
                "question": question,
                "measure": "log_hazard_ratio" if measure == "hazard_ratio" else measure,
                "estimate": float(log(row["estimate"])), "low": float(log(row["low"])),
                "high": float(log(row["high"])), "events": row["events"],
            }  # fmt: skip


def over_seeds(seeds: range, *, with_effects: bool) -> pl.DataFrame:
    """Give the estimates of all seeds, from two processes of one thread each."""
    os.environ["POLARS_MAX_THREADS"] = "1"
    jobs = [(seed, with_effects) for seed in seeds]
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        found = [row for rows in pool.map(estimates_of, jobs) for row in rows]
    return pl.DataFrame(found)


def tabulate(found: pl.DataFrame, truth: pl.DataFrame) -> pl.DataFrame:
    """Bias and coverage by estimand, each with its Monte Carlo error."""
    both = found.join(
        truth.select("question", "measure", true="estimate"), on=["question", "measure"]
    )
    inside = (pl.col("low") <= pl.col("true")) & (pl.col("true") <= pl.col("high"))
    return (
        both.group_by("question", "measure", maintain_order=True)
        .agg(
            pl.col("true").first(),
            seeds=pl.len(),
            events=pl.col("events").mean(),
            mean=pl.col("estimate").mean(),
            bias=(pl.col("estimate") - pl.col("true")).mean(),
            bias_error=pl.col("estimate").std() / pl.len() ** 0.5,
            spread=pl.col("estimate").std(),
            coverage=inside.mean(),
        )
        .with_columns(
            coverage_error=(pl.col("coverage") * (1 - pl.col("coverage")) / pl.col("seeds")).sqrt()
        )
    )


@pytest.fixture(scope="module")
def truth() -> pl.DataFrame:
    with as_file(files("shared") / "demo" / "truth.csv") as path:
        return pl.read_csv(path)


def test_bias_and_coverage_of_the_primary_estimates(truth: pl.DataFrame, publish: Publish) -> None:
    table = tabulate(over_seeds(range(1, SEEDS + 1), with_effects=True), truth)
    publish(table, f"Known effects, {SEEDS} seeds", "truth_effects.md")
    assert table.height == 6
    assert table["coverage"].min() > 0.88  # type: ignore[operator]


def test_without_effects_3_to_8_percent_of_intervals_exclude_none(
    truth: pl.DataFrame, publish: Publish
) -> None:
    none = truth.with_columns(estimate=pl.lit(0.0))
    found = over_seeds(range(1001, 1001 + SEEDS), with_effects=False)
    table = tabulate(found, none).with_columns(excludes=1 - pl.col("coverage"))
    publish(table, f"No effects, {SEEDS} seeds", "truth_no_effects.md")
    low, high = ALPHA_BAND
    for measure in ("log_hazard_ratio", "risk_difference"):
        share = float(table.filter(measure=measure)["excludes"].mean())  # type: ignore[arg-type]
        assert low <= share <= high, f"{share:.3f} of the intervals of {measure} exclude 0"
