"""The codebook: every variable declared once, in shared/codebook/ and a study's own files."""

import csv
import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib.resources import files
from pathlib import Path

import polars as pl

from shared.errors import PlanError, nearest

CANONICAL_TABLES = (
    "clinics", "animals", "stifles", "procedures", "implants",
    "rechecks", "complications", "revisions", "measurements",
)  # fmt: skip
KEYS: Mapping[str, tuple[str, ...]] = {
    "clinics": ("clinic_id",),
    "animals": ("clinic_id", "local_animal"),
    "stifles": ("clinic_id", "local_stifle"),
    "procedures": ("clinic_id", "local_stifle"),
    "implants": ("clinic_id", "local_stifle", "implant_no"),
    "rechecks": ("clinic_id", "local_stifle", "recheck_day", "recheck_mode"),
    "complications": ("clinic_id", "local_stifle", "complication_no"),
    "revisions": ("clinic_id", "local_stifle", "revision_no"),
    "measurements": ("clinic_id", "local_stifle", "image_id", "measure", "rater_id", "read_no"),
}
DTYPES: Mapping[str, pl.DataType] = {
    "string": pl.String(),
    "category": pl.String(),
    "int": pl.Int64(),
    "float": pl.Float64(),
    "bool": pl.Boolean(),
    "date": pl.Date(),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Variable:
    """One column of one canonical table, as declared.

    `codes` maps each allowed code to its label; `limits` are hard, `usual` is what raises a
    question; both are numbers, or ISO dates as text for a date.
    """

    table: str
    name: str
    label: str
    kind: str
    unit: str
    codes: Mapping[str, str]
    limits: tuple[str, str] | None
    usual: tuple[str, str] | None
    required: str
    required_when: str
    core: str
    refers_to: str
    role: str
    definition: str
    source: str

    @property
    def dtype(self) -> pl.DataType:
        """Polars type of the column; of a category with declared codes these, and no other text."""
        return _words(tuple(self.codes)) if self.is_coded else DTYPES[self.kind]

    @property
    def is_coded(self) -> bool:
        """Tell a category whose codes are declared; without them any text is a value."""
        return self.kind == "category" and bool(self.codes)


@cache
def _words(codes: tuple[str, ...]) -> pl.Enum:
    return pl.Enum(codes)


def read_codebook(study_folder: Path | None = None) -> tuple[Variable, ...]:
    """Read the declarations of the project and, where given, those of ``study/codebook/*.csv``.

    Raises
    ------
    PlanError
        If a study's file is not UTF-8 or not named after a canonical table, or declares a
        variable twice, with an unknown type, with limits that are no numbers, or incompletely.
    """
    own = files("shared") / "codebook"
    declared = [item for item in sorted(own.iterdir(), key=lambda path: path.name)
                if item.name.endswith(".csv")]  # fmt: skip
    variables = [row for item in declared for row in _rows(item.name, item.read_text("utf-8"))]
    if study_folder is not None:
        for path in sorted((study_folder / "codebook").glob("*.csv")):
            variables += _rows(path.name, _study_text(path))
    _refuse_repeats(variables)
    order = {name: place for place, name in enumerate(CANONICAL_TABLES)}
    return tuple(sorted(variables, key=lambda item: order.get(item.table, len(order))))


def of_table(codebook: Iterable[Variable], table: str) -> tuple[Variable, ...]:
    """Give the variables of one table in declared order."""
    return tuple(item for item in codebook if item.table == table)


def by_name(codebook: Iterable[Variable]) -> dict[str, Variable]:
    """Give one declaration per variable name; where a key stands in several tables, the first."""
    found: dict[str, Variable] = {}
    for item in codebook:
        found.setdefault(item.name, item)
    return found


def codebook_version(codebook: Iterable[Variable]) -> str:
    """Name the state of the codebook: the first 12 digits of the hash of its declarations."""
    text = "\n".join(repr(item) for item in codebook if item.table in CANONICAL_TABLES)
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def _study_text(path: Path) -> str:
    """Read a study's own declarations; a file of another name would be of no use."""
    if path.stem not in CANONICAL_TABLES:
        raise PlanError(
            str(path), f'there is no table "{path.stem}"',
            do="Name the file after the table. " + nearest(path.stem, CANONICAL_TABLES),
        )  # fmt: skip
    try:
        return path.read_text("utf-8-sig")
    except UnicodeDecodeError as error:
        raise PlanError(str(path), "this is no UTF-8 text", do="Save it as CSV UTF-8.") from error


def _rows(file_name: str, text: str) -> list[Variable]:
    table = file_name.removesuffix(".csv")
    found: list[Variable] = []
    for number, row in enumerate(csv.DictReader(text.splitlines()), start=2):
        try:
            found.append(_variable(table, row))
        except (KeyError, TypeError, AttributeError, ValueError) as error:
            raise PlanError(
                f"codebook/{file_name}, row {number}",
                f"the declaration is incomplete or wrong ({error})",
                do="Use the columns of shared/codebook/stifles.csv, one of the types "
                + ", ".join(DTYPES) + ', codes as "a=Label|b=Label", and limits in pairs.',
            ) from error  # fmt: skip
    return found


def _variable(table: str, row: Mapping[str, str]) -> Variable:
    if row["type"] not in DTYPES:
        raise KeyError(row["type"])
    codes = dict(pair.split("=", 1) for pair in row["codes"].split("|") if pair)
    for low, high in (("low", "high"), ("usual_low", "usual_high")):
        _check_limits(row["type"], row[low], row[high])
    return Variable(
        table=table, name=row["variable"], label=row["label"], kind=row["type"],
        unit=row["unit"], codes=codes,
        limits=(row["low"], row["high"]) if row["low"] else None,
        usual=(row["usual_low"], row["usual_high"]) if row["usual_low"] else None,
        required=row["required"], required_when=row["required_when"], core=row["core"],
        refers_to=row["refers_to"], role=row["role"], definition=row["definition"],
        source=row["source"],
    )  # fmt: skip


def _check_limits(kind: str, low: str, high: str) -> None:
    """Refuse limits that come alone, or are no numbers (of a date: no ISO dates)."""
    read = date.fromisoformat if kind == "date" else float
    if bool(low) != bool(high):
        raise ValueError("a limit stands alone")
    if low and not read(low) <= read(high):  # type: ignore[operator]
        raise ValueError(f"{low} is above {high}")


def _refuse_repeats(variables: Iterable[Variable]) -> None:
    seen: set[tuple[str, str]] = set()
    for item in variables:
        if (item.table, item.name) in seen:
            raise PlanError(
                f"codebook/{item.table}.csv",
                f'the variable "{item.name}" is declared twice',
                do="Give the study's own variable another name.",
            )
        seen.add((item.table, item.name))
