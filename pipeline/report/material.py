"""All that the report is made from; numbers stand in `rows`, `curves`, `flow` and `counts` only."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import polars as pl

from pipeline.plan import Analysis, parse_analyses
from pipeline.report.counts import CheckedCounts
from pipeline.report.figures import Look, looks_of
from pipeline.report.labels import Labels, make_labels
from pipeline.report.rows import read_rows
from pipeline.study import Study
from schemas.codebook import Variable
from shared.estimate import Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question of the plan, the analyses that answer it, and those that test the answer."""

    id: str
    text: str
    role: str
    analyses: tuple[Analysis, ...]
    sensitivities: tuple[Analysis, ...]

    @property
    def lead(self) -> Analysis:
        """The analysis that names exposure and levels."""
        items = (*self.analyses, *self.sensitivities)
        return next((item for item in items if item.exposure), items[0])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Material:
    """What the pages are written from."""

    rows: tuple[Estimate, ...]
    curves: pl.DataFrame
    flow: pl.DataFrame
    counts: CheckedCounts
    study: Study
    analyses: tuple[Analysis, ...]
    labels: Labels
    looks: Mapping[tuple[str, str], Look]
    run_info: Mapping[str, Any]
    courses: pl.DataFrame | None = None  # marks of single stifles; never on a page that leaves

    @property
    def questions(self) -> tuple[Question, ...]:
        """Questions in the order of the plan.

        An analysis without a question belongs to the last one asked of the same exposure; where
        there is none, it stands alone.
        """
        grouped: dict[str, list[Analysis]] = {}
        asked: dict[str | None, str] = {}
        for item in self.analyses:
            text = item.question or asked.get(item.exposure) or item.id
            asked[item.exposure] = text
            grouped.setdefault(text, []).append(item)
        return tuple(
            _question(place, text, items)
            for place, (text, items) in enumerate(grouped.items(), start=1)
        )

    def look(self, exposure: str | None, level: str | None) -> Look:
        """How an arm is drawn; a group that no plan names is drawn like the first reference."""
        return self.looks.get((exposure or "", level or "")) or next(
            iter(looks_of([("", "")]).values())
        )


def _question(place: int, text: str, items: list[Analysis]) -> Question:
    main = tuple(item for item in items if item.role != "sensitivity")
    return Question(
        id=f"question-{place}",
        text=text,
        role=(main or tuple(items))[0].role,
        analyses=main,
        sensitivities=tuple(item for item in items if item.role == "sensitivity"),
    )


BOUNDS = ("held_event", "held_free")


def with_bounds(analyses: tuple[Analysis, ...], done: Collection[str]) -> tuple[Analysis, ...]:
    """Add the bounds that were run beside the plan: all held stifles as events, and none."""
    known = {item.id for item in analyses}
    out: list[Analysis] = []
    for item in analyses:
        out.append(item)
        for ending in BOUNDS:
            name = f"{item.id}_{ending}"
            if name in done and name not in known:
                out.append(
                    replace(
                        item, id=name, role="sensitivity", time=f"{item.time}_{ending}",
                        event=f"{item.event}_{ending}",
                        population="A" if item.population == "B" else item.population,
                    )
                )  # fmt: skip
    return tuple(out)


def gather(
    results: pl.DataFrame, curves: pl.DataFrame, flow: pl.DataFrame, *,
    study: Study, codebook: Iterable[Variable], checked_counts: CheckedCounts,
    run_info: Mapping[str, Any], courses: pl.DataFrame | None = None,
) -> Material:  # fmt: skip
    """Bring together what the pages are written from."""
    planned = parse_analyses(list(study.analyses)) if study.analyses else ()
    analyses = with_bounds(planned, results["analysis"].unique().to_list())
    arms = [(item.exposure or "", level) for item in analyses for level in item.levels]
    return Material(
        rows=read_rows(results), curves=curves, flow=flow, counts=checked_counts, study=study,
        analyses=analyses, labels=make_labels(codebook), looks=looks_of(arms), run_info=run_info,
        courses=courses,
    )  # fmt: skip
