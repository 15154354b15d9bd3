"""The stages in order, one screen: exports in at the top, report out at the bottom."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

from pipeline import write
from pipeline.analyse import Analysed, analyse
from pipeline.check import Checked, check
from pipeline.cohort import Cohort, build_cohort
from pipeline.compare import Compared, compare
from pipeline.corrections import Corrected, correct
from pipeline.corrections_file import read_corrections
from pipeline.descriptives import describe, precision_rows, require_events
from pipeline.intake.study_intake import read_study as read_exports
from pipeline.link import link
from pipeline.linked import Linked
from pipeline.manifest import STAGES, read_manifest
from pipeline.near_matches import read_decisions
from pipeline.plan import parse_analyses
from pipeline.record import run_record
from pipeline.study import Study, read_study
from pipeline.summaries import summary_of
from pipeline.summary import Summary
from pipeline.written_ahead import written_ahead
from schemas.codebook import Variable, read_codebook
from schemas.codebook_history import require_version
from shared.estimate import Estimate, results_frame

Step = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """What a run has made so far; a stage that was not asked for is None."""

    study: Study
    codebook: tuple[Variable, ...]
    corrected: Corrected
    checked: Checked
    linked: Linked
    cohort: Cohort | None = None
    described: tuple[Estimate, ...] = ()
    analysed: Analysed | None = None
    compared: Compared | None = None
    summary: Summary = field(default_factory=lambda: Summary(done=""))

    @property
    def results(self) -> pl.DataFrame:
        """The results table of the stages that ran."""
        frames = [results_frame(self.described)]
        frames += [part.results for part in (self.analysed, self.compared) if part is not None]
        return pl.concat(frames)

    @property
    def curves(self) -> pl.DataFrame | None:
        """Curve points of the analyses and of the clinic comparison."""
        parts = [part.curves for part in (self.analysed, self.compared) if part is not None]
        return pl.concat(parts, how="diagonal") if parts else None

    @property
    def the_cohort(self) -> Cohort:
        """The cohort of a run that came so far."""
        if self.cohort is None:
            raise ValueError("this run ended before the cohort")
        return self.cohort

    @property
    def open_blocking(self) -> int:
        """Number of findings that keep a row or a result out until they are answered."""
        return self.findings.filter(pl.col("action").is_in(["stop", "hold"])).height

    @property
    def findings(self) -> pl.DataFrame:
        """All that clinics are asked: of intake, corrections, checks and linking."""
        return pl.concat([self.checked.findings, self.linked.findings])


def run_study(
    folder: Path, *, until: str, on_step: Step, say: Callable[[str], None] = lambda _text: None,
    draft: bool = False,
) -> Run:  # fmt: skip
    """Run a study from its exports up to a stage, and write what the stages made.

    Parameters
    ----------
    folder
        The study folder; outputs go to its ``out``.
    until
        Last stage: check, cohort, analyse, compare or report.
    on_step
        Called with the name of each step before it starts.
    say
        Called with text for the terminal; the precision expected of the plan, before any model.
    draft
        Whether the query lists are written as a draft, so that no round begins.

    Raises
    ------
    StudyError
        If the study, a mapping or an export cannot be used, nobody is left, or nobody had the
        event of a primary analysis.
    """
    started = time.monotonic()
    out = folder / "out"
    previous = read_manifest(out)
    with written_ahead(folder) as ahead:
        done = checked_study(folder, on_step, on_mapped=ahead.write)
        if until != "check":
            done = _with_cohort(done, on_step)
        if until in STAGES[2:]:
            done = _with_results(done, until, on_step, say)
        on_step("writing")
        ahead.put(out)
    clinics = done.checked.tables["clinics"]
    record = run_record(done.study, clinics, previous=previous, until=until)
    write.write_run(done, record=record, until=until, previous=previous, draft=draft)
    seconds = time.monotonic() - started
    write.write_record(out, record, seconds=seconds, previous=previous, draft=draft)
    return replace(done, summary=summary_of(done, until=until, draft=draft))


def checked_study(
    folder: Path, on_step: Step,
    on_mapped: Callable[[Mapping[str, pl.DataFrame], pl.DataFrame], None] = lambda *_mapped: None,
) -> Run:  # fmt: skip
    """Run a study up to its checks and links; nothing is written.

    Parameters
    ----------
    on_mapped
        Called before the checks with what they do not change: the canonical tables as the exports
        made them, and why cells are empty.
    """
    study = read_study(folder)
    require_version(str(folder / "study.toml"), study.codebook_version, read_codebook())
    codebook = read_codebook(folder)
    parse_analyses(study.analyses)  # a slip in the plan is told before the long work
    on_step("reading the exports")
    mapped = read_exports(folder, codebook)
    on_step("checking")
    corrected = correct(mapped, read_corrections(folder / "corrections.csv", codebook), codebook)
    on_mapped(mapped.tables, corrected.mapped.missing)
    answered = {"confirmed": corrected.confirmed, "closed": corrected.closed}
    checked = check(corrected.mapped, codebook, **answered)
    decisions = read_decisions(folder / "same_animal.csv")
    linked = link(
        checked.tables, checked.holds, marks=checked.marks, decisions=decisions, **answered
    )
    return Run(study=study, codebook=codebook, corrected=corrected, checked=checked, linked=linked)


def cohort_study(folder: Path, on_step: Step) -> Run:
    """Run a study up to its cohort; nothing is written."""
    return _with_cohort(checked_study(folder, on_step), on_step)


def _with_cohort(done: Run, on_step: Step) -> Run:
    on_step("building the cohort")
    return replace(done, cohort=build_cohort(done.linked, done.study))


def _with_results(done: Run, until: str, on_step: Step, say: Callable[[str], None]) -> Run:
    table = done.the_cohort.wide
    on_step("expecting precision")
    analyses = parse_analyses(done.study.analyses)
    precision = precision_rows(table, analyses)
    say(write.precision_text(precision))
    require_events(precision, analyses)
    on_step("describing")
    described = describe(
        table, done.study, done.codebook, events=done.the_cohort.events,
        recurrent=done.the_cohort.recurrent, tables=done.linked.tables,
    )  # fmt: skip
    done = replace(done, described=(*precision, *described))
    done = replace(
        done,
        analysed=analyse(table, done.study, recurrent=done.the_cohort.recurrent, on_step=on_step),
    )
    if until in STAGES[3:]:
        on_step("comparing the clinics")
        done = replace(done, compared=compare(table, done.study))
    return done
