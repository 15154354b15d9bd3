"""Why a fit gives no number, or a number to be careful with."""

from analysis.arrays import FloatArray
from analysis.rank import Redundant

FEW_EVENTS_PER_PARAMETER = 10
FEW_CLUSTERS = 40
# Coverage over 2,000 studies of 2 to 6 of the rarer outcome per parameter
# (tests/benchmarks/test_bench_binary_coverage.py, README of this folder): robust 95% intervals of a
# penalised fit kept 92.5 %; with the larger of robust and model-based errors all measures kept 93 %
# but for the risk difference at 2 per parameter (92.99 %; 95.0 % at 2.9).
NARROW_BELOW = 6
NARROW_DIFFERENCE_BELOW = 2.5
RATIOS = ("odds_ratio", "coefficient", "risk_ratio")


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


def narrow_concerns(measure: str, rarer_per_term: float, *, larger_errors: bool) -> tuple[str, ...]:
    """Say that an interval of a penalised fit with clusters is too narrow with so few events.

    The rarer outcome per term decides. With the larger of robust and model-based errors ratios
    are wide enough; risks are taken to be as their difference.
    """
    below = NARROW_BELOW
    if larger_errors:
        below = 0 if measure in RATIOS else NARROW_DIFFERENCE_BELOW
    return ("interval_too_narrow",) if rarer_per_term < below else ()


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
