"""One row of the results table: every number of the report is one of these."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields, replace

import polars as pl

CONCERNS = {
    "few_events_per_parameter": "fewer than 10 of the rarer outcome per parameter",
    "separation": "a term predicts the outcome perfectly",
    "not_converged": "the fit did not converge; no number is given",
    "not_identified": "the data do not determine this estimate; no number is given",
    "non_proportional": "the hazard ratio is unlikely to be constant over time",
    "collinear": "two terms carry the same information",
    "sparse_cell": "fewer than 5 in a cell",
    "no_overlap": "a clinic or surgeon uses one technique only",
    "clusters_ignored": "several stifles of an animal are taken as independent",
    "outcome_selected_by_follow_up": "events are always known, non-events only if looked for",
    "interval_too_narrow": "with so few events or clusters the interval is likely too narrow",
    "interval_through_infinity": "the difference may be nil: the number runs through infinity",
    "late_entry": "rows enter late, for which the method has no answer; no number is given",
    "few_clusters": "few clusters: robust errors are likely too small",
    "open_limit": "so few clusters leave the interval open at one end or both",
    "no_events": "no event was seen",
    "no_spread": "clusters differ no more than chance: the numbers are those without them",
    "one_row_a_cluster": "hardly a cluster has two rows: how alike they are cannot be told",
    "piece_without_events": "a piece of time holds no event: its rate is nil",
    "penalised": "estimated by penalised likelihood because the data are sparse",
    "extreme_weights": "a few stifles carry much of the weight",
    "beyond_follow_up": "nobody was followed to this day; no number is given",
    "overdispersed": "clinics differ more than chance and case mix explain",
    "too_few": "too few stifles for a number",
    "resamples_failed": "some bootstrap samples had no fit and are left out of the interval",
    "depends_on_grouping": "hangs on how risks are grouped; it neither proves nor refutes a fit",
    "depends_on_other": "holds where the term it interacts with is at its reference or zero",
    "beyond_data": "lies outside what was seen: the model is stretched beyond its stifles",
    "groups_failed": "without some groups the model has no fit; they are left out here",
    "within_interval": "the day lies between two visits: no more than this risk, perhaps less",
    "until_found": "runs to the visit that found the event, not to its onset: too many days, and "
    "an interval that covers less often than it says",
    "held_rows": "stifles with an open query are left out",
    "small_count": "a count from 1 to 4 is not shown",
    "protects_small_count": "not shown, as a count from 1 to 4 could be had from it",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """One estimate with its interval; ratios exponentiated, `std_error` of the log for ratios.

    A field that does not apply is None. `concerns` are codes of ``CONCERNS``.
    """

    row_id: str = ""
    analysis: str
    role: str | None = None
    model: str | None = None
    outcome: str | None = None
    definition: str | None = None
    population: str | None = None
    adjustment: str | None = None
    group: str | None = None
    state: str | None = None
    day: float | None = None
    term: str | None = None
    level: str | None = None
    reference: str | None = None
    unit: str | None = None
    measure: str
    estimate: float | None = None
    std_error: float | None = None
    low: float | None = None
    high: float | None = None
    confidence: float | None = None
    statistic: float | None = None
    df: float | None = None
    p_value: float | None = None
    n: int | None = None
    n_dropped: int | None = None
    events: int | None = None
    clusters: int | None = None
    method: str | None = None
    concerns: tuple[str, ...] = ()


ID_PARTS = (
    "analysis", "model", "adjustment", "measure", "outcome",
    "group", "state", "day", "term", "level",
)  # fmt: skip
NUMBERS = (
    "estimate",
    "std_error",
    "low",
    "high",
    "statistic",
    "df",
    "p_value",
    "day",
    "confidence",
)
COUNTS = ("n", "n_dropped", "events", "clusters")
RESULT_SCHEMA: dict[str, pl.DataType] = {
    field.name: pl.Float64()
    if field.name in NUMBERS
    else pl.Int64()
    if field.name in COUNTS
    else pl.String()
    for field in fields(Estimate)
}


def row_id(row: Estimate) -> str:
    """Make the stable key of a row from what it is about, never from its numbers."""
    parts = (getattr(row, name) for name in ID_PARTS)
    return "/".join("" if part is None else f"{part:g}" if isinstance(part, float) else str(part)
                    for part in parts).rstrip("/")  # fmt: skip


def results_frame(rows: Iterable[Estimate]) -> pl.DataFrame:
    """Put estimates in the results table, in the order given.

    Raises
    ------
    ValueError
        If two rows are about the same thing, a concern has no text, or a number is not finite.
    """
    done = [row if row.row_id else replace(row, row_id=row_id(row)) for row in rows]
    repeated = [key for key, count in Counter(row.row_id for row in done).items() if count > 1]
    if repeated:
        raise ValueError(f"two results rows are about the same thing: {repeated[:3]}")
    unknown = {code for row in done for code in row.concerns} - CONCERNS.keys()
    if unknown:
        raise ValueError(f"concerns without a text: {sorted(unknown)}")
    records = [asdict(row) | {"concerns": ";".join(row.concerns)} for row in done]
    frame = pl.DataFrame(records, schema=RESULT_SCHEMA, orient="row")
    bad = frame.filter(
        pl.any_horizontal(pl.col(*NUMBERS).is_nan() | pl.col(*NUMBERS).is_infinite())
    )
    if len(bad):
        raise ValueError(f"a number is not finite in {bad['row_id'][0]}")
    return frame
