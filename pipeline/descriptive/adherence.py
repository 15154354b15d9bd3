"""What of the technique was as is usual, by clinic; common practice, no source, and no score."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

import polars as pl

from analysis.describe import QUANTILE_DEFINITION, quartiles
from pipeline.descriptive.arms import by_clinic
from pipeline.descriptive.completeness import share_of_animals
from shared.estimate import Estimate

MOVED = pl.col("ttt_done")
PINNED = MOVED & pl.col("ttt_fixation").is_in(("k_wire", "k_wire_tension_band"))
BANDED = MOVED & pl.col("tension_band_done")
CROSSED = BANDED & (pl.col("tb_pattern") == "figure_of_eight").fill_null(value=True)
# Each item with the stifles it applies to; the items themselves are made in sql/adherence.sql.
ITEMS: Mapping[str, pl.Expr] = {
    "usual_osteotomy_depth": MOVED, "usual_bridge": MOVED, "usual_wires": PINNED,
    "usual_wire_level": PINNED, "usual_band": PINNED, "usual_hole": BANDED,
    "usual_pattern": BANDED, "usual_crossing": CROSSED, "usual_twists": BANDED,
}  # fmt: skip
RATIOS: Mapping[str, pl.Expr] = {
    "osteotomy_ratio": MOVED, "kwire_depth_ratio": PINNED, "hole_distance_ratio": BANDED,
}  # fmt: skip
RATERS = "osteotomy_ratio_raters"


def adherence(cohort: pl.DataFrame) -> Iterator[Estimate]:
    """Give the share as is usual of each item (`term`), then the ratios behind them, by clinic.

    `n` are the stifles to which an item applies and of which it is known, `n_dropped` those to
    which it applies and of which it is not. Then, of the osteotomy depth ratio, how many stifles
    have that of so many blinded raters (`level`; 0 is the surgeon's own).
    """
    for clinic, rows in by_clinic(cohort):
        base = Estimate(analysis="adherence", group=clinic, measure="")
        for item, applies in ITEMS.items():
            if item in rows.columns:
                yield _share(replace(base, term=item), rows.filter(applies))
        for ratio, applies in RATIOS.items():
            if ratio in rows.columns:
                yield from _quartiles(replace(base, term=ratio), rows.filter(applies)[ratio])
        if RATERS in rows.columns:
            yield from _raters(replace(base, term=RATERS), rows.filter(MOVED)[RATERS])


def _share(base: Estimate, rows: pl.DataFrame) -> Estimate:
    known = rows.filter(pl.col(base.term or "").is_not_null())
    base = replace(base, n_dropped=len(rows) - len(known))
    return share_of_animals(base, known[base.term or ""], known["animal_id"])


def _quartiles(base: Estimate, values: pl.Series) -> Iterator[Estimate]:
    found = quartiles(values)
    base = replace(base, n=found.n, n_dropped=found.n_missing, method=QUANTILE_DEFINITION)
    if not found.n:
        yield replace(base, measure="median", concerns=("too_few",))
        return
    yield replace(base, measure="median", estimate=found.median)
    yield replace(base, measure="quartile", level="lower", estimate=found.low)
    yield replace(base, measure="quartile", level="upper", estimate=found.high)


def _raters(base: Estimate, raters: pl.Series) -> Iterator[Estimate]:
    known = raters.drop_nulls()
    for number in known.unique().sort().to_list():
        count = int((known == number).sum())
        yield replace(
            base, level=str(number), measure="count", estimate=float(count), events=count,
            n=len(known), n_dropped=len(raters) - len(known),
        )  # fmt: skip
