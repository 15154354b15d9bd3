"""What the comparison of clinics says, read from the results and the limits of its funnels."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import polars as pl
from matplotlib.figure import Figure

from pipeline.report.draw_funnel import Limits, Point, draw_funnel
from pipeline.report.rows import distinct, of
from shared.estimate import Estimate

COMPARISON = "clinic_comparison"
CURVE = "funnel_"


@dataclass(frozen=True, slots=True, kw_only=True)
class ClinicRows:
    """Rows of one clinic for one outcome."""

    clinic: str
    ratio: Estimate
    observed: Estimate | None
    expected: Estimate | None
    completeness: Estimate | None


def compared_outcomes(rows: Sequence[Estimate]) -> list[str]:
    """Outcomes that clinics were compared for, as columns of the cohort."""
    return distinct(row.outcome for row in of(rows, "standardised_ratio", analysis=COMPARISON))


def clinic_rows(rows: Sequence[Estimate], outcome: str) -> list[ClinicRows]:
    """Gather the rows of each clinic, in their order."""
    own = [row for row in of(rows, analysis=COMPARISON) if row.outcome == outcome]
    counts = {(row.group, row.term): row for row in of(own, "count", "proportion")}
    return [
        ClinicRows(
            clinic=ratio.group or "",
            ratio=ratio,
            observed=counts.get((ratio.group, "observed")),
            expected=counts.get((ratio.group, "expected")),
            completeness=next(
                (row for row in of(own, "proportion") if row.group == ratio.group), None
            ),
        )
        for ratio in of(own, "standardised_ratio")
    ]


def funnel_figure(
    clinics: Sequence[ClinicRows], curves: pl.DataFrame, *,
    names: Mapping[str, str], own: Collection[str] = (), outcome: tuple[str, str],
) -> Figure | None:  # fmt: skip
    """Draw the clinics that have a ratio, in the order of their names here; None without one.

    `outcome` is its column and its label; clinics that are not in `names` are not drawn.
    """
    points = [
        Point(
            names[item.clinic], item.expected.estimate or 0.0, item.ratio.estimate,
            item.clinic in own,
        )
        for item in clinics
        if item.clinic in names and item.ratio.estimate is not None and item.expected is not None
    ]  # fmt: skip
    points.sort(key=lambda point: (point.own, point.label))
    if not points:
        return None
    return draw_funnel(points, _limits(curves, outcome[0]), outcome=outcome[1])


def _limits(curves: pl.DataFrame, outcome: str) -> list[Limits]:
    own = curves.filter(
        (pl.col("analysis") == COMPARISON)
        & (pl.col("outcome") == outcome)
        & pl.col("curve").str.starts_with(CURVE)
    )
    found: list[Limits] = []
    for curve in sorted(own["curve"].unique().to_list(), key=_level):
        points = own.filter(pl.col("curve") == curve).sort("day")
        found.append(
            Limits(
                _level(curve) / 100, points["day"].to_numpy(), points["low"].to_numpy(),
                points["high"].to_numpy(),
            )
        )  # fmt: skip
    return found


def _level(curve: str) -> float:
    return float(curve.removeprefix(CURVE))
