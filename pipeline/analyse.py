"""The analyses of the plan, one after another, on the cohort: the results table and its curves."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.analyses.curves import no_curves
from pipeline.analyses.fitted import Fitted
from pipeline.analyses.run import run_analysis
from pipeline.descriptive.arms import included
from pipeline.plan import Analysis, parse_analyses
from pipeline.plan_models import USES
from pipeline.recurrent import recurrent_table
from schemas.codebook import Variable, by_name, read_codebook
from shared.estimate import Estimate, results_frame
from shared.files import as_text

if TYPE_CHECKING:
    from pipeline.study import Study

BOUNDS = {
    "held_event": "every held stifle counted as an event",
    "held_free": "every held stifle counted as free of the event until last seen",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Analysed:
    """Results of all analyses (``shared.estimate``) and the points of their curves."""

    results: pl.DataFrame
    curves: pl.DataFrame


def analyse(
    cohort: pl.DataFrame,
    study: "Study",
    *,
    recurrent: pl.DataFrame | None = None,
    on_step: Callable[[str], None] = lambda _name: None,
) -> Analysed:
    """Run the plan on the cohort's included stifles.

    Parameters
    ----------
    cohort
        One row per accepted index stifle; those with a `left_at` are not looked at.
    recurrent
        Complications in counting form, for the analyses with ``table = "recurrent"``.
    study
        Its analyses, its seed (for those that name none) and its folder's codebook.
    on_step
        Called with the id of each analysis before it runs.

    Returns
    -------
    Analysed
        In the order of the plan. After a primary analysis of a timed outcome with held stifles
        come its two bounds, unless the plan has them already.

    Raises
    ------
    PlanError
        If an analysis does not fit the cohort; it names the analysis.
    """
    stifles = included(cohort).sort("stifle_id")
    blocks = [{"seed": study.seed, **block} if _uses_seed(block) else block
              for block in study.analyses]  # fmt: skip
    analyses = with_bounds(parse_analyses(blocks), stifles)
    codebook = by_name(read_codebook(study.folder))
    stretches = None if recurrent is None else recurrent_table(as_text(recurrent), stifles)
    return run_analyses(stifles, analyses, codebook=codebook, recurrent=stretches, on_step=on_step)


def run_analyses(
    frame: pl.DataFrame,
    analyses: Iterable[Analysis],
    *,
    codebook: Mapping[str, Variable],
    recurrent: pl.DataFrame | None = None,
    on_step: Callable[[str], None],
) -> Analysed:
    """Run analyses on a table, or on that of recurrent complications where there is one apart.

    The codebook names the units of coefficients.
    """
    fitted: list[Fitted] = []
    for analysis in analyses:
        on_step(analysis.id)
        apart = recurrent if analysis.table == "recurrent" else None
        fitted.append(run_analysis(frame if apart is None else apart, analysis))
    rows = [with_unit(row, codebook) for found in fitted for row in found.rows]
    curves = pl.concat([no_curves(), *(found.curves for found in fitted)])
    return Analysed(results=results_frame(rows), curves=curves)


def with_bounds(analyses: tuple[Analysis, ...], cohort: pl.DataFrame) -> tuple[Analysis, ...]:
    """Add the bounds of primary analyses: all held stifles as events, and none.

    They stand in the cohort as columns of their own, such as relux_day_held_event. Held stifles
    may lack the recheck that set B asks for, so the bounds of set B are taken in set A.
    """
    known = {item.id for item in analyses}
    out: list[Analysis] = []
    for item in analyses:
        out.append(item)
        for ending, words in BOUNDS.items():
            columns = f"{item.time}_{ending}", f"{item.event}_{ending}"
            there = set(columns) <= set(cohort.columns)
            if item.role == "primary" and there and f"{item.id}_{ending}" not in known:
                out.append(
                    replace(
                        item, id=f"{item.id}_{ending}", role="sensitivity", time=columns[0],
                        event=columns[1], definition=words,
                        population="A" if item.population == "B" else item.population,
                    )
                )  # fmt: skip
    return tuple(out)


def with_unit(row: Estimate, codebook: Mapping[str, Variable]) -> Estimate:
    """Complete the unit of a coefficient: "per 12" months of age is "per 12 month"."""
    known = codebook.get(row.term or "")
    if row.unit is None or known is None or not known.unit:
        return row
    if row.unit.startswith(("per doubling", "per factor")):  # a logarithm has no unit
        return row
    return replace(row, unit=f"{row.unit} {known.unit}")


def _uses_seed(block: Mapping[str, Any]) -> bool:
    return "seed" in USES.get(str(block.get("model")), frozenset())
