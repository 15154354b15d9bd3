"""Two-by-two tables in strata and in pairs, and exact limits: against books and R."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from analysis.exact_test import fisher_test, mid_p_test
from analysis.paired_table import Pairs, paired_table
from analysis.stratified import mantel_haenszel
from analysis.two_groups import TwoGroups
from tests.analysis.r_values import r_values

R = r_values("binary_tables")
Agrees = Callable[[float, str], bool]
BIRTHS = pl.read_csv(Path(__file__).parents[2] / "shared" / "published" / "birthwt.csv")


def table(a: int, b: int, c: int, d: int) -> TwoGroups:
    return TwoGroups(events=a, n=a + b, reference_events=c, reference_n=c + d)


def births() -> tuple[TwoGroups, ...]:
    def count(race: int, smoke: int, low: int) -> int:
        rows = BIRTHS.filter(race=race, smoke=smoke, low=low)
        return len(rows)

    return tuple(
        table(*(count(race, smoke, low) for smoke in (1, 0) for low in (1, 0)))
        for race in (1, 2, 3)
    )


TOLBUTAMIDE = (table(8, 98, 5, 115), table(22, 76, 16, 69))
BERKELEY = (  # UCBAdmissions of R: men admitted and not, women admitted and not, by department
    table(512, 313, 89, 19), table(353, 207, 17, 8), table(120, 205, 202, 391),
    table(138, 279, 131, 244), table(53, 138, 94, 299), table(22, 351, 24, 317),
)  # fmt: skip
STRATA = {"tolbutamide": TOLBUTAMIDE, "birthwt": births(), "ucb": BERKELEY}
PAIRS = ((1, 1, 7, 12), (59, 6, 16, 80), (794, 86, 150, 570), (0, 5, 2, 0))
TABLES = ((7, 27, 1, 33), (3, 1, 1, 3), (2, 10, 15, 3), (30, 44, 29, 86))


@pytest.mark.parametrize("name", STRATA)
def test_strata_agree_with_r(name: str) -> None:
    found = mantel_haenszel(STRATA[name])
    values = {
        "or": found.odds_ratio.estimate, "or low": found.odds_ratio.low,
        "or high": found.odds_ratio.high, "cmh": found.association.statistic,
        "cmh corrected": found.association_corrected.statistic,
        "rr": found.risk_ratio.estimate, "rr se": found.risk_ratio.std_error,
        "rd": found.risk_difference.estimate, "rd se": found.risk_difference.std_error,
        "breslow day": found.breslow_day.statistic, "tarone": found.tarone.statistic,
    }  # fmt: skip
    assert values == pytest.approx({key: R[name, key] for key in values}, rel=1e-8)


def test_strata_agree_with_rothmans_table(agrees: Agrees) -> None:
    """Rothman, Greenland & Lash 2008, table 15-1, limits of 90 %, verified."""
    found = mantel_haenszel(TOLBUTAMIDE, confidence=0.9)
    difference, odds = found.risk_difference, found.odds_ratio
    assert agrees(difference.estimate, "0.0349")
    assert agrees(difference.low, "-0.0176")
    assert agrees(difference.high, "0.0874")
    assert agrees(float(np.log(found.risk_ratio.estimate)), "0.2818")
    assert agrees(float(np.log(odds.estimate)), "0.3387")
    assert agrees(float(np.log(odds.low)), "-0.1731")
    assert agrees(float(np.log(odds.high)), "0.8505")
    assert agrees(found.association.statistic, "1.1914")
    assert agrees(found.tarone.statistic, "0.3489")


def test_one_stratum_gives_the_plain_odds_ratio_and_no_test_of_evenness() -> None:
    found = mantel_haenszel((table(8, 98, 5, 115),))
    assert found.odds_ratio.estimate == pytest.approx(8 * 115 / (98 * 5))
    assert np.isnan(found.breslow_day.statistic)


def test_strata_without_an_event_among_the_exposed_give_no_ratio() -> None:
    found = mantel_haenszel((table(0, 9, 2, 5), table(0, 4, 0, 6)))
    assert np.isnan(found.odds_ratio.estimate)
    assert found.odds_ratio.concerns == ("separation",)
    assert found.risk_ratio.concerns == ("no_events",)
    assert (found.strata, found.telling) == (2, 1)


@pytest.mark.parametrize("counts", PAIRS)
def test_pairs_agree_with_r(counts: tuple[int, int, int, int]) -> None:
    name = " ".join(map(str, ("pairs", *counts)))
    found = paired_table(_pairs(counts))
    values = {
        "mcnemar": found.mcnemar.statistic,
        "mcnemar corrected": found.mcnemar_corrected.statistic,
        "exact p": found.exact_p, "mid p": found.mid_p,
        "or low": found.odds_ratio.low, "or high": found.odds_ratio.high,
    }  # fmt: skip
    assert values == pytest.approx({key: R[name, key] for key in values}, rel=1e-8)


def test_pairs_agree_with_fagerlands_airways(agrees: Agrees) -> None:
    """Fagerland, Lydersen & Laake 2013 and 2014, 21 children, from memory; tests beside R above."""
    found = paired_table(_pairs((1, 1, 7, 12)))
    assert agrees(found.mcnemar.p_value, "0.034")
    assert agrees(found.exact_p, "0.070")
    assert agrees(found.mid_p, "0.039")
    assert agrees(found.risk_difference.low, "-0.507")
    assert agrees(found.risk_difference.high, "-0.026")


def test_pairs_that_never_differ_say_nothing_of_the_odds_ratio() -> None:
    found = paired_table(_pairs((3, 0, 0, 9)))
    assert found.odds_ratio.concerns == ("not_identified",)
    assert np.isnan(found.mcnemar.statistic)
    assert found.exact_p == 1


@pytest.mark.parametrize("cells", TABLES)
def test_exact_limits_agree_with_r(cells: tuple[int, int, int, int]) -> None:
    name = " ".join(map(str, ("table", *cells)))
    exact, half = fisher_test(table(*cells)), mid_p_test(table(*cells))
    values = {
        "or": exact.odds_ratio, "low": exact.low, "high": exact.high, "p": exact.p_value,
        "mid low": half.low, "mid high": half.high, "mid p": half.p_value,
    }  # fmt: skip
    assert values == pytest.approx({key: R[name, key] for key in values}, rel=1e-8)


def test_exact_limits_agree_with_fagerlands_table(agrees: Agrees) -> None:
    """Fagerland, Lydersen & Laake 2015, 7/34 against 1/34, verified."""
    groups = table(7, 27, 1, 33)
    assert agrees(fisher_test(groups).low, "0.97")
    assert agrees(fisher_test(groups).high, "397")
    assert agrees(mid_p_test(groups).low, "1.19")
    assert agrees(mid_p_test(groups).high, "200")


def test_an_empty_cell_leaves_one_limit() -> None:
    found = mid_p_test(table(0, 5, 3, 3))
    assert (found.odds_ratio, found.low) == (0, 0)
    assert 0 < found.high < fisher_test(table(0, 5, 3, 3)).high


def _pairs(counts: tuple[int, int, int, int]) -> Pairs:
    both, exposed, reference, neither = counts
    return Pairs(both=both, exposed_only=exposed, reference_only=reference, neither=neither)
