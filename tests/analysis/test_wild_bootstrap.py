"""Wild bootstrap of cluster scores: all sign vectors against R, drawn ones near them."""

from importlib.resources import files

import numpy as np
import polars as pl
import pytest

from analysis.wild_bootstrap import WildBootstrap, wild_bootstrap
from tests.analysis.r_values import r_values

BIRTHS = pl.read_csv(str(files("shared") / "published" / "birthwt.csv"))
R = r_values("binary_wild")
NAMES = ("smoke", "lwt", "ht")
X = BIRTHS.select("smoke", pl.col("lwt") / 50, "ht").to_numpy().astype(float)
Y = BIRTHS["low"].to_numpy()
BANDS = np.searchsorted([17, 19, 20, 21, 22, 24, 25, 28], BIRTHS["age"].to_numpy())
CLUSTERS = {"by visits": BIRTHS["ftv"].to_numpy(), "by age band": BANDS}


def fitted(cluster: np.ndarray, columns: int = 3, **more: object) -> WildBootstrap:
    found = wild_bootstrap(X[:, :columns], Y, cluster=cluster, names=NAMES[:columns], **more)  # type: ignore[arg-type]
    assert found is not None
    return found


@pytest.mark.parametrize("group", CLUSTERS)
def test_all_sign_vectors_agree_with_r(group: str) -> None:
    found = fitted(CLUSTERS[group])
    assert found.enumerated
    assert found.vectors == 2**found.clusters
    for term in found.terms:
        assert term.statistic == pytest.approx(R[group, f"{term.name} statistic"], rel=1e-8)
        assert term.p_value == pytest.approx(R[group, f"{term.name} p"], rel=1e-12)
        for side, value in (("low", term.low), ("high", term.high)):
            if (group, f"{term.name} {side}") in R:
                wanted = R[group, f"{term.name} {side}"]
                assert value == pytest.approx(wanted, rel=1e-6)
            else:
                assert np.isinf(value)


def test_with_three_clusters_nothing_is_refused() -> None:
    """No p can be below 2 of 8 vectors."""
    found = fitted(BIRTHS["race"].to_numpy(), columns=2)
    for term in found.terms:
        assert term.p_value == pytest.approx(R["by race", f"{term.name} p"])
        assert term.p_value >= 0.25
        assert (term.low, term.high) == (-np.inf, np.inf)


@pytest.mark.parametrize("signs", ["rademacher", "webb"])
def test_drawn_vectors_come_near_those_enumerated(signs: str) -> None:
    """Eighteen clusters are too many for all vectors; seeded, they are the same again."""
    cluster = BANDS * 2 + np.arange(len(BANDS)) % 2
    first, again = (fitted(cluster, signs=signs, seed=4) for _ in range(2))
    assert (first, first.vectors, first.enumerated) == (again, 9_999, False)
    other = fitted(cluster, signs=signs, seed=5)
    for one, two in zip(first.terms, other.terms, strict=True):
        assert one.p_value == pytest.approx(two.p_value, abs=0.02)
        assert one.p_value != two.p_value
        assert one.low == pytest.approx(two.low, abs=0.3)


def test_webb_s_values_tell_more_p_apart() -> None:
    few = BIRTHS["race"].to_numpy()
    found = fitted(few, columns=2, signs="webb")
    assert min(term.p_value for term in found.terms) < 0.25


def test_without_a_fit_there_is_none() -> None:
    assert wild_bootstrap(X[:, :1] * 0, Y, cluster=BANDS) is None
    assert wild_bootstrap(X, Y * 0, cluster=BANDS) is None
    assert wild_bootstrap(Y[:, None], Y, cluster=BANDS) is None
