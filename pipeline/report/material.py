"""All that the report is made from; numbers stand in `rows`, `curves`, `flow` and `counts` only."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
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
    """One question of the plan and the analyses that answer it, sensitivity analyses apart."""

    id: str
    text: str
    role: str
    analyses: tuple[Analysis, ...]

    @property
    def lead(self) -> Analysis:
        """The analysis that names exposure and levels."""
        return next((item for item in self.analyses if item.exposure), self.analyses[0])


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

    @property
    def questions(self) -> tuple[Question, ...]:
        """Questions in the order of the plan; analyses without a question stand alone."""
        grouped: dict[str, list[Analysis]] = {}
        for item in self.analyses:
            if item.role != "sensitivity":
                grouped.setdefault(item.question or item.id, []).append(item)
        return tuple(
            Question(id=f"question-{place}", text=text, role=items[0].role, analyses=tuple(items))
            for place, (text, items) in enumerate(grouped.items(), start=1)
        )

    def look(self, exposure: str | None, level: str | None) -> Look:
        """How an arm is drawn; a group that no plan names is drawn like the first reference."""
        return self.looks.get((exposure or "", level or "")) or next(
            iter(looks_of([("", "")]).values())
        )


def gather(
    results: pl.DataFrame, curves: pl.DataFrame, flow: pl.DataFrame, *,
    study: Study, codebook: Iterable[Variable], checked_counts: CheckedCounts,
    run_info: Mapping[str, Any],
) -> Material:  # fmt: skip
    """Bring together what the pages are written from."""
    analyses = parse_analyses(list(study.analyses)) if study.analyses else ()
    arms = [(item.exposure or "", level) for item in analyses for level in item.levels]
    return Material(
        rows=read_rows(results), curves=curves, flow=flow, counts=checked_counts, study=study,
        analyses=analyses, labels=make_labels(codebook), looks=looks_of(arms), run_info=run_info,
    )  # fmt: skip
