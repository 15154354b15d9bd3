"""Published series of surgery for patellar luxation: their counts, percentages and small tables.

Counts are those of the abstracts (shared/published/veterinary.csv, verified); the abstracts print
no intervals, so the limits are held to R: prop.test(events, n, correct = FALSE), R 4.2.2.
"""

from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.stats import nchypergeom_fisher

from analysis.exact_test import fisher_test
from analysis.proportions import clopper_pearson, wilson
from analysis.two_groups import TwoGroups
from analysis.two_proportions import odds_ratio, risk_difference_newcombe, risk_ratio

PUBLISHED = Path(__file__).parents[2] / "shared" / "published" / "veterinary.csv"
SERIES = pl.read_csv(PUBLISHED, schema_overrides={"printed_percent": pl.String}).to_dicts()
NAMES = [f"{row['series']}, {row['what']}" for row in SERIES]
BY_R = {
    (59, 137): (0.350748573759921, 0.514347966995248),
    (24, 137): (0.120641898971816, 0.247441897197135),
    (28, 119): (0.168104967305556, 0.319038863410765),
    (11, 119): (0.0524005740811139, 0.157963736704333),
    (7, 119): (0.0287833124807276, 0.116456405379807),
    (11, 50): (0.127539159702144, 0.352415495812537),
    (5, 50): (0.0434757649318904, 0.213602314374797),
    (9, 131): (0.0365625456507617, 0.125416262734409),
    (2, 106): (0.00518960877959574, 0.0661992721118586),
    (12, 47): (0.152531540350547, 0.395081755304174),
    (6, 47): (0.0598460419814339, 0.251739407927925),
    (8, 22): (0.197332046703661, 0.57048291909869),
    (24, 47): (0.372424537482268, 0.647244449663178),
    (18, 47): (0.25790681096422, 0.525734330435864),
    (10, 47): (0.11989707998095, 0.349040267091984),
    (7, 68): (0.0507657717899291, 0.197579113093656),
    (7, 26): (0.137044483220184, 0.460830403791762),
    (5, 26): (0.0850706114894241, 0.37876257119317),
    (14, 65): (0.13286757691151, 0.329665602456885),
    (6, 65): (0.042995089611341, 0.187120005159604),
    (23, 133): (0.118087365146546, 0.246140400694523),
    (25, 52): (0.351041144454555, 0.613143172319439),
    (0, 20): (0, 0.161125158052819),
}
# Exposed with and without, reference with and without; p of R's fisher.test; odds ratio and limits
# of R, which stops its search within 1.2e-4, so that only three digits of them are exact.
TABLES = {
    "Seoul about 2015, revision with or without trochleoplasty": (
        (3, 47, 1, 21), 1.0, (1.35780265611056, 0.10162798784634, 75.0894111089792)),
    "DeSousa 2012, both stifles or one": (
        (7, 26, 5, 26), 0.74316307182049, (1.53440013622023, 0.34979420845504, 7.25643022913525)),
    "Loughin 2006, excellent with or without surgery": (
        (23, 35, 8, 17), 0.23784392562527, (2.12332190825387, 0.563708062051399, 8.25729074249472)),
    "de la Puerta 2019, wide or narrow distal hinge": (
        (1, 27, 24, 86), 0.00713524160889217,
        (0.100659208905379, 0.00233257825242729, 0.686120992266965)),
    "Willauer 1987, operated at 8 to 20 or 3 to 6 months": (
        (11, 22, 2, 7), 0.409961685823755,
        (2.42412122009537, 0.310119155271344, 30.6824084201837)),
    "zero cell": ((0, 10, 4, 10), 0.086687306501548, (0.0, 0.0, 1.29804492426738)),
}  # fmt: skip


def groups(counts: tuple[int, int, int, int]) -> TwoGroups:
    events, n, reference_events, reference_n = counts
    return TwoGroups(events=events, n=n, reference_events=reference_events, reference_n=reference_n)


@pytest.mark.parametrize("row", SERIES, ids=NAMES)
def test_published_counts_give_the_printed_percentage_and_the_limits_of_r(
    row: dict[str, object],
) -> None:
    """Rounded half up to the printed digits: 24 of 137 is 17.5, printed 18."""
    events, n, printed = int(str(row["events"])), int(str(row["n"])), row["printed_percent"]
    found = wilson(events, n)
    if printed is not None:
        exact = Decimal(100 * events) / Decimal(n)
        assert exact.quantize(Decimal(str(printed)), ROUND_HALF_UP) == Decimal(str(printed))
        assert 100 * found.estimate == pytest.approx(float(exact), rel=1e-14)
    assert (found.low, found.high) == pytest.approx(BY_R[events, n], rel=1e-10, abs=1e-15)
    wider = clopper_pearson(events, n)
    assert wider.low <= found.low + 1e-3
    assert wider.high >= found.high - 1e-2


@pytest.mark.parametrize("name", TABLES)
def test_small_published_tables_have_the_exact_test_of_r(name: str) -> None:
    counts, p_value, ratio = TABLES[name]
    found = fisher_test(groups(counts))
    assert found.p_value == pytest.approx(p_value, rel=1e-10)
    assert (found.odds_ratio, found.low, found.high) == pytest.approx(ratio, rel=3e-3)


@pytest.mark.parametrize("name", TABLES)
def test_exact_limits_solve_their_equation(name: str) -> None:
    """Second route: at each limit the tail of the noncentral hypergeometric holds 2.5 percent."""
    counts, _, _ = TABLES[name]
    events, n, reference_events, reference_n = counts
    found = fisher_test(groups(counts))
    margins = (n + reference_n, n, events + reference_events)
    below = nchypergeom_fisher(*margins, found.high).cdf(events)
    assert below == pytest.approx(0.025, rel=1e-6)
    if found.low > 0:
        assert nchypergeom_fisher(*margins, found.low).sf(events - 1) == pytest.approx(
            0.025, rel=1e-6
        )
        assert nchypergeom_fisher(*margins, found.odds_ratio).mean() == pytest.approx(events)


def test_contrasts_of_published_tables() -> None:
    """Derived from the abstracts: 1.6 points and 1.34 (Seoul), 7.7 points and 1.4 (DeSousa)."""
    seoul, desousa = (groups(counts) for counts in ((3, 47, 1, 21), (7, 26, 5, 26)))
    assert round(100 * risk_difference_newcombe(seoul).estimate, 1) == 1.6
    assert round(risk_ratio(seoul).estimate, 2) == 1.34
    assert round(100 * risk_difference_newcombe(desousa).estimate, 1) == 7.7
    assert round(risk_ratio(desousa).estimate, 1) == 1.4


def test_nobody_with_the_event_leaves_no_odds_ratio() -> None:
    """Blackford-Winders 2021: no reluxation in ten and ten stifles. R: p 1, limits 0 and Inf."""
    none = groups((0, 10, 0, 10))
    found = fisher_test(none)
    assert (found.p_value, found.low, found.high) == (1, 0, float("inf"))
    assert np.isnan(found.odds_ratio)
    assert odds_ratio(none).concerns == ("separation",)


def test_a_wrong_count_does_not_agree() -> None:
    assert wilson(60, 137).low != pytest.approx(BY_R[59, 137][0], rel=1e-4)
