from collections.abc import Callable

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import confint_proportions_2indep

from analysis.proportions import clopper_pearson, design_effect, wilson
from analysis.score_limits import where_score_is
from analysis.two_groups import TwoGroups
from analysis.two_proportions import (
    Contrast,
    number_needed,
    odds_ratio,
    risk_difference_newcombe,
    risk_difference_score,
    risk_difference_wald,
    risk_ratio,
)

Agrees = Callable[[float, str], bool]
FAGERLAND = TwoGroups(events=7, n=34, reference_events=1, reference_n=34)


def limits(contrast: Contrast) -> tuple[float, float]:
    return contrast.low, contrast.high


def mee(groups: TwoGroups) -> Contrast:
    return risk_difference_score(groups, finite_factor=False)


@pytest.mark.parametrize(
    ("method", "low", "high"),
    [
        (risk_difference_wald, "0.029", "0.32"),
        (risk_difference_newcombe, "0.019", "0.34"),
        (mee, "0.028", "0.34"),
        (risk_difference_score, "0.0270416", "0.3452912"),
        (risk_ratio, "0.91", "54"),
        (odds_ratio, "0.99", "74"),
    ],
)
def test_limits_agree_with_fagerland(
    agrees: Agrees, method: Callable[[TwoGroups], Contrast], low: str, high: str
) -> None:
    """Fagerland, Lydersen & Laake 2015, 7/34 against 1/34, verified; their Miettinen-Nurminen
    limits leave out N / (N - 1), so they are Mee's. With the factor: R PropCIs, verified."""
    found = method(FAGERLAND)
    assert agrees(found.low, low)
    assert agrees(found.high, high)


@pytest.mark.parametrize(
    ("counts", "method", "low", "high"),
    [
        ((56, 70, 48, 80), mee, 0.0533338492802871, 0.337729463772656),
        ((56, 70, 48, 80), risk_difference_score, 0.05282971323537, 0.338172940049334),
        ((56, 70, 48, 80), risk_difference_newcombe, 0.0524314724023649, 0.333872654036906),
        ((9, 10, 3, 10), mee, 0.182126501426786, 0.836950330891133),
        ((9, 10, 3, 10), risk_difference_score, 0.170025016723583, 0.840649543944631),
        ((9, 10, 3, 10), risk_difference_newcombe, 0.170522723934503, 0.809017973535488),
        ((6, 7, 2, 7), risk_difference_score, 0.0341755443057709, 0.853405259973172),
        ((6, 7, 2, 7), risk_difference_newcombe, 0.0582279274823123, 0.806249637524228),
        ((5, 56, 0, 29), risk_difference_score, -0.0325965616401752, 0.193330976692006),
        ((5, 56, 0, 29), risk_difference_newcombe, -0.0381371479035369, 0.192560013855112),
    ],
)
def test_difference_agrees_with_r_on_newcombes_examples(
    counts: tuple[int, int, int, int],
    method: Callable[[TwoGroups], Contrast],
    low: float,
    high: float,
) -> None:
    """Newcombe 1998, Stat Med 17:873, Table II, from memory: compared with R at 1e-6."""
    groups = TwoGroups(
        events=counts[0], n=counts[1], reference_events=counts[2], reference_n=counts[3]
    )
    assert limits(method(groups)) == pytest.approx((low, high), abs=1e-6)


def test_newcombe_limits_are_those_of_statsmodels() -> None:
    """Second route."""
    other = confint_proportions_2indep(7, 34, 1, 34, method="newcomb", compare="diff")
    assert limits(risk_difference_newcombe(FAGERLAND)) == pytest.approx(other, abs=1e-12)


def test_score_limit_solves_its_equation_over_a_grid_of_likelihoods() -> None:
    """Second route: maximise the likelihood under the limit's difference by brute force."""
    for limit in limits(risk_difference_score(FAGERLAND)):
        reference = np.linspace(max(0, -limit) + 1e-9, min(1, 1 - limit) - 1e-9, 400_001)
        exposed = reference + limit
        height = 7 * np.log(exposed) + 27 * np.log1p(-exposed)
        height += np.log(reference) + 33 * np.log1p(-reference)
        p0 = reference[np.argmax(height)]
        p1 = p0 + limit
        variance = (p1 * (1 - p1) / 34 + p0 * (1 - p0) / 34) * 68 / 67
        assert abs(6 / 34 - limit) / np.sqrt(variance) == pytest.approx(1.959964, abs=1e-4)


def test_cats_and_dry_food_agree_with_epir(agrees: Agrees) -> None:
    """Willeberg 1977, 13/2176 against 5/3354; epiR documentation of epi.2by2."""
    cats = TwoGroups(events=13, n=2176, reference_events=5, reference_n=3354)
    found = risk_ratio(cats)
    assert agrees(found.estimate, "4.01")
    assert agrees(found.low, "1.43")
    assert agrees(found.high, "11.23")
    assert odds_ratio(cats).estimate == pytest.approx(4.02561257512714, rel=1e-12)
    difference = risk_difference_wald(cats)
    assert 100 * difference.estimate == pytest.approx(0.448350740117156, rel=1e-12)
    assert 100 * difference.low == pytest.approx(0.0992277063788425, rel=1e-9)


def test_smoking_and_low_birth_weight_agree_with_epir(
    birthwt: pl.DataFrame, agrees: Agrees
) -> None:
    """epiR documentation: odds ratio 2.02 (Wald 1.08 to 3.78)."""
    low, smoke = birthwt["low"] == 1, birthwt["smoke"] == 1
    groups = TwoGroups(
        events=int((low & smoke).sum()),
        n=int(smoke.sum()),
        reference_events=int((low & ~smoke).sum()),
        reference_n=int((~smoke).sum()),
    )
    found = odds_ratio(groups)
    assert agrees(found.estimate, "2.02")
    assert agrees(found.low, "1.08")
    assert agrees(found.high, "3.78")


@pytest.mark.parametrize(
    ("events", "n", "method", "low", "high"),
    [
        (81, 263, wilson, 0.255288519878274, 0.3662095769828),
        (81, 263, clopper_pearson, 0.252736745585271, 0.367621922601351),
        (15, 148, wilson, 0.0623863995307363, 0.160487241723308),
        (15, 148, clopper_pearson, 0.0578440100834486, 0.161650490349479),
        (1, 29, wilson, 0.00611321429276266, 0.171755218793203),
        (1, 29, clopper_pearson, 0.000872646883579923, 0.177644295488723),
        (0, 20, wilson, 0.0, 0.161125158052819),
        (0, 20, clopper_pearson, 0.0, 0.168433470983085),
    ],
)
def test_single_proportions_agree_with_r_on_newcombes_examples(
    events: int, n: int, method: Callable[..., object], low: float, high: float
) -> None:
    """Newcombe 1998, Stat Med 17:857, Table I, from memory: compared with R at 1e-6."""
    found = method(events, n)
    assert (found.low, found.high) == pytest.approx((low, high), abs=1e-6)  # pyright: ignore


def test_exact_limits_agree_with_r_documentation(agrees: Agrees) -> None:
    """binom.test(682, 925), reference output of R's examples, verified."""
    found = clopper_pearson(682, 925)
    assert agrees(found.low, "0.7076683")
    assert agrees(found.high, "0.7654066")


def test_pairs_that_always_agree_count_as_one() -> None:
    """Twice the rows, the same information: the factor G / (G - 1) remains."""
    animal = np.repeat(np.arange(40), 2)
    y = np.repeat(np.arange(40) % 4 == 0, 2)
    assert design_effect(y, animal) == pytest.approx(2 * 40 / 39)
    wide = wilson(int(y.sum()), 80, design_effect=2.0)
    alone = wilson(10, 40)
    assert (wide.low, wide.high) == pytest.approx((alone.low, alone.high), abs=1e-12)


def test_design_effect_has_a_floor_and_needs_contrast() -> None:
    animal = np.repeat(np.arange(20), 2)
    assert design_effect(np.tile([0, 1], 20), animal) == 1.0
    assert design_effect(np.zeros(40), animal) == 1.0
    assert design_effect([0, 1, 0], ["a", "a", "a"]) == 1.0


@given(events=st.integers(0, 60), more=st.integers(0, 60), effect=st.floats(1, 3))
def test_wilson_limits_hold_the_estimate_and_widen_with_the_design_effect(
    events: int, more: int, effect: float
) -> None:
    n = events + more
    if not n:
        assert np.isnan(wilson(0, 0).estimate)
        return
    found, wider = wilson(events, n), wilson(events, n, design_effect=effect)
    assert 0 <= found.low <= found.estimate <= found.high <= 1
    assert wider.low <= found.low + 1e-12
    assert wider.high >= found.high - 1e-12
    assert wilson(n - events, n).low == pytest.approx(1 - found.high, abs=1e-12)


@given(a=st.integers(0, 30), b=st.integers(0, 30), c=st.integers(0, 30), d=st.integers(0, 30))
def test_score_limits_mirror_when_the_groups_change_places(a: int, b: int, c: int, d: int) -> None:
    if not (a + b and c + d):
        return
    there = TwoGroups(events=a, n=a + b, reference_events=c, reference_n=c + d)
    back = TwoGroups(events=c, n=c + d, reference_events=a, reference_n=a + b)
    low, high = limits(risk_difference_score(there))
    mirrored_low, mirrored_high = limits(risk_difference_score(back))
    assert (low, high) == pytest.approx((-mirrored_high, -mirrored_low), abs=1e-6)
    assert -1 <= low <= there.shares[0] - there.shares[1] <= high <= 1


def test_empty_cells_give_a_concern_instead_of_a_ratio() -> None:
    groups = TwoGroups(events=5, n=56, reference_events=0, reference_n=29)
    assert np.isnan(odds_ratio(groups).estimate)
    assert odds_ratio(groups).concerns == ("separation",)
    assert risk_ratio(groups).concerns == ("no_events",)


def test_number_needed_runs_through_infinity_where_the_difference_may_be_nil() -> None:
    clear = number_needed(risk_difference_newcombe(FAGERLAND))
    assert clear.estimate == pytest.approx(34 / 6)
    assert clear.low < clear.estimate < clear.high
    assert clear.concerns == ()
    unclear = number_needed(
        risk_difference_newcombe(TwoGroups(events=4, n=20, reference_events=3, reference_n=20))
    )
    assert unclear.low > 0 > unclear.high
    assert unclear.concerns == ("interval_through_infinity",)


def test_impossible_counts_are_refused() -> None:
    with pytest.raises(ValueError, match="events must lie between 0 and n, got 5 of 4"):
        wilson(5, 4)
    with pytest.raises(ValueError, match="design_effect must be above zero"):
        wilson(1, 4, design_effect=0)
    with pytest.raises(ValueError, match="each group needs"):
        TwoGroups(events=1, n=0, reference_events=0, reference_n=3)
    with pytest.raises(ValueError, match="confidence must lie between 0 and 1, got 95"):
        clopper_pearson(1, 4, confidence=95)


def test_score_search_is_inside_its_ends() -> None:
    groups = TwoGroups(events=0, n=3, reference_events=0, reference_n=3)
    assert -1 <= where_score_is(1.96, groups, (-1.0, 0.0), finite_factor=True) <= 0
