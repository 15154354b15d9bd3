"""Why a fit gives no number, or a number to be careful with."""

from analysis.arrays import FloatArray
from analysis.rank import Redundant

FEW_EVENTS_PER_PARAMETER = 10
FEW_CLUSTERS = 40
# Robust 95% intervals of a penalised fit kept 92.7 % over 2,000 studies of 2 to 6 of the rarer
# outcome per parameter (tests/benchmarks/test_bench_binary_coverage.py, README of this folder).
NARROW_BELOW = 6


def sparse_concerns(events: int, n: int, n_terms: int, clusters: int | None) -> tuple[str, ...]:
    """Give the concerns of a fit with few of the rarer outcome per term, or few clusters."""
    rarer = min(events, n - events)
    few_events = n_terms > 0 and rarer / n_terms < FEW_EVENTS_PER_PARAMETER
    few_clusters = clusters is not None and clusters < FEW_CLUSTERS
    return tuple(
        code
        for code, holds in (
            ("few_events_per_parameter", few_events),
            ("few_clusters", few_clusters),
        )
        if holds
    )


def narrow_concerns(events: int, n: int, n_terms: int) -> tuple[str, ...]:
    """Say that cluster-robust intervals of a penalised fit are too narrow with so few events.

    The rarer outcome per term decides; see ``NARROW_BELOW``.
    """
    few = n_terms > 0 and min(events, n - events) / n_terms < NARROW_BELOW
    return ("interval_too_narrow",) if few else ()


def event_concerns(
    events: int, n_terms: int, clusters: int | None, separated: tuple[str, ...]
) -> tuple[str, ...]:
    """Give the concerns of a model of times: separation in time, few events, few clusters."""
    few_events = n_terms > 0 and events / n_terms < FEW_EVENTS_PER_PARAMETER
    few_clusters = clusters is not None and clusters < FEW_CLUSTERS
    return tuple(
        code
        for code, holds in (
            ("separation", bool(separated)),
            ("few_events_per_parameter", few_events),
            ("few_clusters", few_clusters),
        )
        if holds
    )


def why_no_fit(redundant: tuple[Redundant, ...], y: FloatArray) -> tuple[str, ...]:
    """Give the concerns of a model without a fit: its columns, its outcome, or its iterations."""
    if any(item.because for item in redundant):
        return ("collinear", "not_identified")
    if not y.any():
        return ("no_events", "not_identified")
    return ("not_identified",) if redundant or y.all() else ("not_converged",)
