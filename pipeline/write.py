"""Everything a run writes, in one place; each file whole or not at all."""

import shutil
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.database import write_database
from pipeline.descriptive.courses import courses
from pipeline.flow import flow_json, flow_svg, flow_text
from pipeline.manifest import output_fingerprints, write_manifest
from pipeline.plan import parse_analyses
from pipeline.queries import write_queries
from pipeline.record import Record
from pipeline.refit import refit_scripts
from pipeline.reidentification import measure
from pipeline.report.clinic_pages import write_clinic_pages
from pipeline.report.counts import count_checked
from pipeline.report.material import gather
from pipeline.report.pages import write_report
from pipeline.report.public import write_public
from pipeline.report.reidentification_page import write_reidentification
from schemas.codebook import of_table
from shared.estimate import Estimate
from shared.files import as_text, write_bytes, write_csv, write_parquet, write_tables, write_text

if TYPE_CHECKING:
    from pipeline.run import Run


def write_run(
    done: "Run", *, record: Record, until: str, previous: Mapping[str, Any] | None,
    draft: bool = False,
) -> None:  # fmt: skip
    """Write what the stages made below ``out`` of the study folder.

    Parameters
    ----------
    done
        What the stages made.
    record
        What the run was made from; the report prints it.
    until
        The last stage of the run.
    previous
        The run.json of the last run: a query asked then is open now, not new.
    draft
        Whether the query lists are a draft, so that no round with the clinics begins or ends.
    """
    out = done.study.folder / "out"
    _write_queries(done, out / "queries", _is_new_round(record, previous), draft=draft)
    _write_tables(done, out / "tables")
    measured = measure(done.linked.tables, k=done.study.privacy.small_cell)
    write_reidentification(out, measured, title=done.study.title)
    if done.cohort is None:
        return
    _write_cohort(done, out)
    write_database(out / "study.duckdb", done.linked.tables, done.cohort.wide)
    if done.analysed is None:
        return
    write_parquet(out / "results.parquet", done.results)
    write_csv(out / "results.csv", done.results)
    assert done.curves is not None
    write_parquet(out / "curves.parquet", done.curves)
    refit_scripts(parse_analyses(done.study.analyses), out / "refit", seed=done.study.seed)
    if until == "report":
        _write_pages(done, out, record)


def write_record(
    out: Path, record: Record, *, seconds: float, previous: Mapping[str, Any] | None = None,
    draft: bool = False,
) -> None:  # fmt: skip
    """Write run.json last, with the fingerprints of every other output.

    "asked" is the state of exports, mappings and corrections that the clinics were asked about.
    """
    content = asdict(record) | {
        "first_analysis": asdict(record.first) if record.first else None,
        "outputs": output_fingerprints(out),
        "asked": _asked(previous) if draft else _round(record.inputs),
        "written": datetime.now(UTC).isoformat(timespec="seconds"),
        "seconds": round(seconds, 1),
    }
    write_manifest(out, content)


def precision_text(rows: Iterable[Estimate]) -> str:
    """Lay out what the plan can be expected to show, before any model is fitted."""
    lines = ["Expected of the plan, blind to exposure:"]
    by_analysis: dict[str, list[str]] = {}
    for row in rows:
        if row.estimate is None:
            continue
        said = f"{row.measure.replace('_', ' ')} {row.estimate:.3g}"
        by_analysis.setdefault(row.analysis, []).append(said)
    lines += [f"  {name}: {', '.join(said)}" for name, said in by_analysis.items()]
    return "\n".join(lines)


def _write_queries(done: "Run", folder: Path, new_round: bool, *, draft: bool) -> None:
    """Write the query lists; a round ends when exports, mappings or corrections change.

    A draft is written beside the lists, as if they were asked now, and changes no list.
    """
    last, drafts = folder / "last_round", folder / "draft"
    shutil.rmtree(drafts, ignore_errors=True)
    if new_round and not draft:
        shutil.rmtree(last, ignore_errors=True)
        for path in sorted(folder.glob("*.csv")):
            write_bytes(last / path.name, path.read_bytes())
    before = folder if new_round and draft else last
    write_queries(
        done.findings, drafts if draft else folder, clinics=done.study.clinics,
        codebook=done.codebook, previous=before if before.is_dir() else None,
    )  # fmt: skip


def _is_new_round(record: Record, previous: Mapping[str, Any] | None) -> bool:
    asked = _asked(previous)
    return bool(asked) and asked != _round(record.inputs)


def _asked(previous: Mapping[str, Any] | None) -> dict[str, str]:
    """Give the inputs of the last round; of a run that wrote down none, all its inputs."""
    found = previous or {}
    return _round(found.get("asked", found.get("inputs", {})))


def _round(inputs: Mapping[str, str]) -> dict[str, str]:
    return {name: mark for name, mark in inputs.items()
            if name.startswith(("exports/", "mappings/", "corrections"))}  # fmt: skip


def _write_tables(done: "Run", folder: Path) -> None:
    checked = done.checked
    write_tables(folder, {
        **checked.tables, "stopped": checked.stopped, "set_aside": checked.set_aside,
        "holds": checked.holds, "findings": done.findings,
    })  # fmt: skip
    write_csv(folder.parent / "near_matches.csv", done.linked.near_matches)
    write_csv(folder / "rows_per_file.csv", checked.ledger)
    write_csv(folder / "rows_per_table.csv", checked.ledger_rows)


def _write_cohort(done: "Run", out: Path) -> None:
    cohort = done.the_cohort
    table = as_text(cohort.wide)
    write_parquet(out / "cohort.parquet", table)
    write_csv(out / "cohort.csv", table)
    write_csv(out / "cohort_dictionary.csv", _dictionary(done, table, "cohort"))
    write_csv(out / "recurrent.csv", cohort.recurrent)
    write_csv(out / "recurrent_dictionary.csv", _dictionary(done, cohort.recurrent, "recurrent"))
    write_text(out / "flow.json", flow_json(cohort.flow, cohort.counts))
    write_text(out / "flow.txt", flow_text(cohort.flow, cohort.counts))
    write_text(out / "flow.svg", flow_svg(cohort.flow))


def _dictionary(done: "Run", frame: pl.DataFrame, table: str) -> pl.DataFrame:
    """Declare the columns of a frame; where `table` declares one, as it does there."""
    declared = {item.name: item for item in reversed(done.codebook)}
    declared |= {item.name: item for item in of_table(done.codebook, table)}
    names = [name for name in frame.columns if name in declared]
    return pl.DataFrame(
        {
            "variable": names,
            "label": [declared[name].label for name in names],
            "type": [declared[name].kind for name in names],
            "unit": [declared[name].unit for name in names],
            "codes": ["; ".join(f"{code} = {label}" for code, label in declared[name].codes.items())
                      for name in names],
            "definition": [declared[name].definition for name in names],
        },
        schema=dict.fromkeys(
            ("variable", "label", "type", "unit", "codes", "definition"), pl.String()
        ),
    )  # fmt: skip


def _write_pages(done: "Run", out: Path, record: Record) -> None:
    """Write all pages into a draft folder, then put them in place of the earlier ones."""
    assert done.curves is not None
    drawn = courses(
        done.the_cohort.wide, done.the_cohort.events, done.linked.tables["rechecks"],
        seed=done.study.seed,
    )  # fmt: skip
    write_csv(out / "courses.csv", drawn)
    material = gather(
        done.results, done.curves, done.the_cohort.flow, study=done.study, codebook=done.codebook,
        checked_counts=count_checked(done.checked, allowed=done.corrected.mapped.allowed),
        run_info=record.for_report(), courses=drawn,
    )  # fmt: skip
    with tempfile.TemporaryDirectory(prefix=".pages-", dir=out) as draft:
        for write_part in (write_report, write_clinic_pages, write_public):
            write_part(Path(draft), material)
        for part in sorted(Path(draft).iterdir()):
            shutil.rmtree(out / part.name, ignore_errors=True)
            part.rename(out / part.name)
