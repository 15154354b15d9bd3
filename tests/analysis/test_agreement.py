"""Agreement of raters: published examples, definitions, and ratings that tell nothing."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from analysis.agreement import intraclass_correlation, limits_of_agreement, weighted_kappa
from analysis.repeatability import repeatability

PUBLISHED = Path(__file__).parents[2] / "shared" / "published"
# Answers of 91 couples on a scale of four, husbands in rows.
COUPLES = ((7, 7, 2, 3), (2, 8, 3, 7), (1, 5, 4, 9), (2, 8, 9, 14))


def ratings() -> pl.DataFrame:
    return pl.read_csv(PUBLISHED / "shrout_fleiss.csv")


def meters() -> pl.DataFrame:
    return pl.read_csv(PUBLISHED / "pefr.csv")


def couples() -> tuple[list[str], list[str]]:
    pairs = [
        (str(row), str(column))
        for row, counts in enumerate(COUPLES)
        for column, count in enumerate(counts)
        for _ in range(count)
    ]
    return [one for one, _ in pairs], [other for _, other in pairs]


def test_six_targets_and_four_judges() -> None:
    """Shrout & Fleiss 1979, Tables 2 to 4, from memory: .29, .62, .71; squares 11.24, 32.49, 1.02.

    Limits and digits by R, psych::ICC without mixed models, computed.
    """
    found = intraclass_correlation(ratings().to_numpy())
    assert found.single == pytest.approx(0.289763779527559, rel=1e-9)
    assert found.mean == pytest.approx(0.620050547598989, rel=1e-9)
    assert found.consistency == pytest.approx(0.714840714840715, rel=1e-9)
    assert found.between_targets == pytest.approx(11.2416666666667)
    assert found.between_raters == pytest.approx(32.4861111111111)
    assert found.residual == pytest.approx(1.01944444444444)
    assert found.low == pytest.approx(0.018786513374712, rel=1e-9)
    assert found.high == pytest.approx(0.761084369648953, rel=1e-9)


def test_two_meters_of_peak_flow() -> None:
    """Bland & Altman 1986, from memory: -2.1, 38.8, limits by 2 SD -79.7 and 75.5.

    The paper rounds before it multiplies; R's unrounded values stand here.
    """
    found = limits_of_agreement(meters()["wright1"], meters()["mini1"], z=2)
    assert found.bias == pytest.approx(-2.11764705882353)
    assert found.deviation == pytest.approx(38.7651298736074)
    assert (found.lower, found.upper) == pytest.approx((-79.6479068060383, 75.4126126883912))
    assert (found.bias_low, found.bias_high) == pytest.approx((-22.0488376966452, 17.8135435789981))
    assert (found.lower_low, found.lower_high) == pytest.approx(
        (-114.169741646087, -45.1260719659901)
    )
    assert found.upper_low == pytest.approx(40.890777848343)


def test_limits_by_1_96_deviations() -> None:
    """R, computed with 1.96 itself: -78.10 and 73.86."""
    found = limits_of_agreement(meters()["wright1"], meters()["mini1"], z=1.96)
    assert (found.lower, found.upper) == pytest.approx((-78.097301611094, 73.8620074934469))


@pytest.mark.parametrize(
    ("meter", "printed", "coefficient", "deviation"),
    [
        ("wright", 43.2, 43.2937979527838, 15.3066690578669),
        ("mini", 56.4, 56.3163334367988, 19.9108306323616),
    ],
)
def test_a_meter_read_twice(
    meter: str, printed: float, coefficient: float, deviation: float
) -> None:
    """Bland & Altman 1986, from memory: 43.2 and 56.4, twice a deviation rounded before.

    Digits by R, twice the root of the mean square, and of the residuals of aov by subject.
    """
    found = repeatability(meters()[f"{meter}1"], meters()[f"{meter}2"], z=2)
    assert 2 * round(found.estimate / 2, 1) == pytest.approx(printed)
    assert found.estimate == pytest.approx(coefficient, rel=1e-12)
    assert found.deviation == pytest.approx(deviation, rel=1e-12)
    usual = repeatability(meters()[f"{meter}1"], meters()[f"{meter}2"])
    assert usual.estimate == pytest.approx(1.959963984540054 * coefficient / 2, rel=1e-12)


def test_kappa_of_couples() -> None:
    """Answers of couples, output of the R package vcd, from memory: 0.1293 (0.0686), linear
    weights 0.2374 (0.0783)."""
    one, other = couples()
    plain = weighted_kappa(one, other, categories="0123", weights="none")
    linear = weighted_kappa(one, other, categories="0123", weights="linear")
    assert (plain.estimate, plain.std_error) == pytest.approx((0.1293, 0.0686), abs=5e-5)
    assert (linear.estimate, linear.std_error) == pytest.approx((0.2374, 0.0783), abs=5e-5)


def test_quadratic_kappa_is_nearly_the_intraclass_correlation() -> None:
    """Fleiss & Cohen 1973: with squared weights kappa tends to ICC(2,1) as n grows."""
    one, other = couples()
    kappa = weighted_kappa(one, other, categories="0123", weights="quadratic")
    numbers = np.column_stack([np.array(one, float), np.array(other, float)])
    assert kappa.estimate == pytest.approx(intraclass_correlation(numbers).single, abs=0.005)


def test_raters_that_say_the_same_agree_wholly() -> None:
    assert intraclass_correlation([[1, 1], [2, 2], [3, 3]]).single == pytest.approx(1)
    same = weighted_kappa("abcb", "abcb", categories="abc")
    assert same.estimate == pytest.approx(1)
    found = limits_of_agreement([1, 2, 4], [1, 2, 4])
    assert (found.bias, found.lower, found.upper) == (0, 0, 0)


def test_ratings_that_tell_nothing_are_refused_or_have_no_number() -> None:
    with pytest.raises(ValueError, match="all alike"):
        intraclass_correlation([[2, 2], [2, 2]])
    with pytest.raises(ValueError, match="two targets and two raters, got 1 and 2"):
        intraclass_correlation([[2, 3]])
    with pytest.raises(ValueError, match="three pairs, got 2"):
        limits_of_agreement([1, 2], [2, 3])
    with pytest.raises(ValueError, match="a pair of readings, got none"):
        repeatability([], [])
    with pytest.raises(ValueError, match="'d' is none of the categories a, b"):
        weighted_kappa("ad", "ab", categories="ab")
    assert np.isnan(weighted_kappa("aa", "aa", categories="ab").estimate)
