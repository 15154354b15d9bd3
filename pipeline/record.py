"""What a run records of itself, for the report and for verify."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline.manifest import (
    STAGES,
    FirstAnalysis,
    code_fingerprint,
    deviations,
    fingerprints,
    first_analysis,
    flat_plan,
    platform_name,
    study_inputs,
    versions,
)
from pipeline.study import Study
from shared.files import fingerprint_text


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """Fingerprints, versions and the first plan of a run.

    `first` is None until a run has come to the analyses.
    """

    until: str
    inputs: Mapping[str, str]
    plan: str
    first: FirstAnalysis | None
    deviations: tuple[str, ...]
    code: str
    versions: Mapping[str, str]
    platform: str
    seed: int
    codebook_version: str
    data_lock: Mapping[str, str]

    def for_report(self) -> dict[str, Any]:
        """Give what the report prints: nothing that differs between two runs of one study."""
        return {
            "versions": dict(self.versions),
            "fingerprints": dict(self.inputs),
            "data_lock": dict(self.data_lock),
            "deviations": self.deviations,
            "program": self.code,
            "plan": self.plan,
        }


def run_record(
    study: Study, clinics: pl.DataFrame, *, previous: Mapping[str, Any] | None, until: str
) -> Record:
    """Take down what a run is made from.

    Parameters
    ----------
    study
        The study as read.
    clinics
        The canonical table of clinics, for the day each export was drawn.
    previous
        The run.json of the last run, if there was one: it keeps the first plan.
    until
        The last stage of this run.
    """
    plan = flat_plan(study.raw)
    analysed = until not in ("check", "cohort")
    earlier = bool(previous and previous.get("first_analysis"))
    inputs = fingerprints(study.folder, study_inputs(study.folder))
    first = first_analysis(previous, plan) if analysed or earlier else None
    lock = clinics.sort("clinic_id").select("clinic_id", pl.col("data_lock_date").cast(pl.String))
    return Record(
        until=_furthest(until, inputs, previous),
        inputs=inputs,
        plan=fingerprint_text(_as_json(plan)),
        first=first,
        deviations=deviations(first.plan, json.loads(_as_json(plan))) if first else (),
        code=code_fingerprint(),
        versions=versions(),
        platform=platform_name(),
        seed=study.seed,
        codebook_version=study.codebook_version,
        data_lock=dict(lock.rows()),
    )


def _furthest(until: str, inputs: Mapping[str, str], previous: Mapping[str, Any] | None) -> str:
    """Give the last stage whose outputs belong to these inputs: an earlier run may have gone on."""
    if not previous or previous.get("inputs") != inputs:
        return until
    if previous.get("code") != code_fingerprint() or previous.get("versions") != versions():
        return until
    return max(until, previous.get("until", until), key=STAGES.index)


def _as_json(plan: Mapping[str, Any]) -> str:
    return json.dumps(plan, sort_keys=True, ensure_ascii=False, default=str)
