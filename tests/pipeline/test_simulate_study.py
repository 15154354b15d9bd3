"""The invented network: repeatable, of the size asked for, and made with known effects."""

import time

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.simulate.effects import NO_EFFECTS, Effects
from pipeline.simulate.simulated import Simulated, simulate_study
from pipeline.simulate.truth import true_effects
from schemas.codebook import CANONICAL_TABLES, KEYS, of_table, read_codebook


@pytest.fixture(scope="module")
def study() -> Simulated:
    return simulate_study(1)


def test_same_seed_gives_the_same_study_and_another_seed_another(study: Simulated) -> None:
    again, other = simulate_study(1), simulate_study(2)
    for table in CANONICAL_TABLES:
        assert_frame_equal(study.tables[table], again.tables[table])
    assert not study.tables["stifles"].equals(other.tables["stifles"])


@pytest.mark.parametrize("n", [1, 2, 57, 900])
def test_exactly_the_stifles_asked_for_are_operated(n: int) -> None:
    tables = simulate_study(3, n).tables
    assert tables["stifles"].height == tables["procedures"].height == n
    joined = tables["stifles"].group_by("clinic_id", "local_animal").len()
    assert joined["len"].max() in (1, 2)
    staged = tables["stifles"].filter(pl.col("session_type_reported") != "unilateral")
    pairs = staged.group_by("clinic_id", "local_animal").len()
    assert (pairs["len"] == 2).all()


def test_no_stifle_at_all_is_refused() -> None:
    with pytest.raises(ValueError, match="n_stifles must be at least 1, not 0"):
        simulate_study(1, 0)


def test_tables_have_every_column_of_the_codebook_and_unique_keys(study: Simulated) -> None:
    codebook = read_codebook()
    for table in CANONICAL_TABLES:
        frame = study.tables[table]
        assert frame.columns == [item.name for item in of_table(codebook, table)]
        assert frame.select(KEYS[table]).is_unique().all()


def test_nine_hundred_stifles_take_well_under_a_second(study: Simulated) -> None:
    started = time.perf_counter()
    simulate_study(4)
    assert time.perf_counter() - started < 0.8


def test_event_rates_are_those_of_published_series() -> None:
    """Reluxation 6 to 10 percent (Bosio 2017, Fullagar 2017), implants: common practice."""
    tables = simulate_study(11, 20_000).tables
    events = tables["complications"]
    pinned = tables["procedures"].filter(pl.col("kwire_count") > 0)
    family = (
        pl.col("complication_type")
        .cast(pl.String)
        .str.contains("^(kwire|wire|tuberosity|implant)_")
    )
    hit = events.filter(family).select("local_stifle").unique()
    relux = events.filter(pl.col("complication_type") == "reluxation")
    assert 0.07 < relux.height / 20_000 < 0.12
    assert 0.08 < hit.height / pinned.height < 0.14


def test_a_stifle_reluxates_later_under_the_technique_that_protects(study: Simulated) -> None:
    potential = study.potential.drop_nulls("reluxation_day_wedge")
    ratio = (potential["reluxation_day_block"] / potential["reluxation_day_wedge"]).to_numpy()
    # Weibull with shape 0.6: a log hazard ratio of -0.5 stretches time by exp(0.5 / 0.6).
    np.testing.assert_allclose(ratio, np.exp(0.5 / 0.6), rtol=1e-9)


def test_without_effects_both_techniques_give_the_same_times() -> None:
    potential = simulate_study(1, 300, effects=NO_EFFECTS).potential
    days = potential.drop_nulls("implant_day_band_two_wires")
    np.testing.assert_allclose(
        days["implant_day_band_two_wires"], days["implant_day_no_band_one_wire"]
    )


def test_true_effects_follow_what_the_network_was_made_with() -> None:
    truth = {
        (row["question"], row["measure"]): row
        for row in true_effects(5, 60_000, effects=Effects(block_on_reluxation=-0.5)).iter_rows(
            named=True
        )
    }
    for question, made in (("relux", -0.5), ("band", -0.5), ("wires", -0.6)):
        found = truth[question, "log_hazard_ratio"]
        # Frailty and rechecks pull the detected ratio towards 1, never past the latent one.
        assert made - 4 * found["monte_carlo_error"] < found["estimate"] < 0.8 * made
        assert truth[question, "risk_difference"]["estimate"] < 0


def test_true_effects_are_nil_where_there_are_none() -> None:
    truth = true_effects(5, 20_000, effects=NO_EFFECTS)
    assert truth["estimate"].abs().max() < 1e-12  # type: ignore[operator]


def test_a_truth_of_too_few_stifles_is_refused() -> None:
    with pytest.raises(ValueError, match="n must be at least 10000, not 500"):
        true_effects(1, 500)
