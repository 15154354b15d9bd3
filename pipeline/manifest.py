"""What went into a run: fingerprints of inputs, plan and code, versions, platform, timings."""

import json
import platform
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path
from typing import Any

from shared.errors import InputFileError
from shared.files import fingerprint, fingerprint_text, write_text

LIBRARIES = (
    "polars", "pandera", "duckdb", "pyarrow", "numpy", "scipy", "statsmodels", "lifelines",
    "matplotlib", "jinja2", "xlsxwriter",
)  # fmt: skip
INPUTS = ("study.toml", "corrections.csv", "same_animal.csv", "codebook", "mappings", "exports")
STAGES = ("check", "cohort", "analyse", "compare", "report")
# What may differ between two runs of the same inputs (design: run.json and the DuckDB cache).
NOT_COMPARED = ("run.json", "study.duckdb")


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstAnalysis:
    """When this study was first analysed, and by which plan."""

    time: str
    plan: Mapping[str, Any]


def study_inputs(folder: Path) -> tuple[Path, ...]:
    """List the files a study is made of, in a fixed order, relative to its folder."""
    found: list[Path] = []
    for name in INPUTS:
        path = folder / name
        inside = path.rglob("*") if path.is_dir() else (path,)
        found += [item for item in inside if item.is_file() and not _is_no_input(item.name)]
    return tuple(sorted(item.relative_to(folder) for item in found))


def _is_no_input(name: str) -> bool:
    """Tell files that no stage reads: hidden ones, and the schema that editors read."""
    return name.startswith(".") or name.endswith(".schema.json")


def fingerprints(folder: Path, names: Iterable[Path]) -> dict[str, str]:
    """Give the SHA-256 of each file, keyed by its path in the study folder."""
    return {name.as_posix(): fingerprint(folder / name) for name in names}


def output_fingerprints(out: Path) -> dict[str, str]:
    """Give the SHA-256 of each output that must be the same in two runs."""
    names = (path for path in out.rglob("*") if path.is_file() and path.name not in NOT_COMPARED)
    return fingerprints(out, sorted(path.relative_to(out) for path in names))


def code_fingerprint() -> str:
    """Name the state of the program: a hash over its own source and declarations."""
    root = Path(__file__).resolve().parent.parent
    sources = sorted(
        path
        for package in ("pipeline", "schemas", "analysis", "shared")
        for path in (root / package).rglob("*")
        if path.suffix in {".py", ".sql", ".csv", ".j2", ".toml"} and "demo" not in path.parts
    )
    text = "\n".join(f"{path.relative_to(root).as_posix()} {fingerprint(path)}" for path in sources)
    return fingerprint_text(text)


def versions() -> dict[str, str]:
    """Give the versions of this program, Python and the libraries that make numbers."""
    found = {name: metadata.version(name) for name in ("sulca", *LIBRARIES)}
    return {"python": platform.python_version()} | found


def platform_name() -> str:
    """Name what decides the last digits: system, processor family and Python."""
    return f"{sys.platform} {platform.machine()} Python {platform.python_version()}"


def read_manifest(out: Path) -> dict[str, Any] | None:
    """Read the run.json of the last run, or None where there was none.

    Raises
    ------
    InputFileError
        If run.json is there but is not JSON, or not what a run writes.
    """
    path = out / "run.json"
    if not path.exists():
        return None
    remedy = "Take the last good copy; or delete it, and the next analysis counts as the first."
    try:
        found = json.loads(path.read_text("utf-8"))
    except ValueError as error:
        raise InputFileError(str(path), "it is not readable as JSON", do=remedy) from error
    if not _is_record(found):
        raise InputFileError(str(path), "it is not what a run writes", do=remedy)
    return found


def _is_record(found: object) -> bool:
    """Say whether a file's content has the shape that `record` and `verify` read."""
    if not isinstance(found, dict):
        return False
    first, until = found.get("first_analysis"), found.get("until", STAGES[-1])
    whole = isinstance(first, dict) and isinstance(first.get("plan"), dict) and "time" in first
    maps = (found.get(name, {}) for name in ("inputs", "outputs", "versions", "asked"))
    return (not first or whole) and until in STAGES and all(isinstance(m, dict) for m in maps)


def first_analysis(previous: Mapping[str, Any] | None, plan: Mapping[str, Any]) -> FirstAnalysis:
    """Keep the first analysis of an earlier run; without one, this run is the first."""
    if previous and previous.get("first_analysis"):
        kept = previous["first_analysis"]
        return FirstAnalysis(time=kept["time"], plan=kept["plan"])
    now = datetime.now(UTC).isoformat(timespec="seconds")
    return FirstAnalysis(time=now, plan=json.loads(json.dumps(plan, default=str)))


def deviations(first: Mapping[str, Any], now: Mapping[str, Any]) -> tuple[str, ...]:
    """Say what of the plan was changed after the first analysis, one sentence a change."""
    said: list[str] = []
    for key in sorted({*first, *now}):
        before, after = first.get(key), now.get(key)
        if before == after:
            continue
        if before is None:
            said.append(f"{key} was added after the first analysis.")
        elif after is None:
            said.append(f"{key} was taken out after the first analysis.")
        else:
            said.append(f"{key} was {_plain(before)}, and is now {_plain(after)}.")
    return tuple(said)


def flat_plan(raw: Mapping[str, Any]) -> dict[str, Any]:
    """Lay the protocol out flat: ``eligibility.grade`` or ``analysis primary, adjust_for``."""
    flat: dict[str, Any] = {}
    for key, value in raw.items():
        if key == "analysis":
            for item in value:
                named = {name: part for name, part in item.items() if name != "id"}
                flat |= {f"analysis {item.get('id')}, {name}": part for name, part in named.items()}
        elif isinstance(value, dict):
            flat |= {f"{key}.{name}": part for name, part in flat_plan(value).items()}
        else:
            flat[key] = value
    return flat


def write_manifest(out: Path, content: Mapping[str, Any]) -> None:
    """Write run.json."""
    text = json.dumps(content, indent=2, sort_keys=True, ensure_ascii=False, default=str)
    write_text(out / "run.json", text + "\n")


def _plain(value: object) -> str:
    if isinstance(value, list | tuple):
        return ", ".join(map(str, value)) or "empty"
    return str(value)
