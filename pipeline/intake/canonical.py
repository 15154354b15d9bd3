"""A clinic that already sends canonical tables: its mapping is the codebook itself."""

import csv
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from pipeline.intake.mapping import MISSING_REASONS, ClinicMapping, SourceFile, TableMapping
from pipeline.intake.received import ordinary_file
from pipeline.intake.screen_cells import shown
from pipeline.intake.sources import Grammar, Source
from pipeline.intake.text_file import decode
from schemas.codebook import CANONICAL_TABLES, Variable, of_table
from shared.errors import InputFileError, MappingError, nearest

# Templates that a clinic leaves as they are when it has nothing to report.
MAY_BE_EMPTY = ("implants", "complications", "revisions", "measurements")
EXTRA_KEYS = ("local_animal", "side")  # stand for local_stifle in every table


def canonical_mapping(folder: Path, codebook: tuple[Variable, ...]) -> ClinicMapping:
    """Make the mapping of a folder whose files are named like the canonical tables.

    Comma, UTF-8, ISO dates, decimal point, canonical codes and units; why a value is missing
    may stand in its cell (not_recorded, not_applicable, not_examined, not_yet_due).

    Raises
    ------
    InputFileError
        If the folder holds no canonical table.
    MappingError
        If a file holds a column that the codebook does not declare.
    """
    present = [table for table in CANONICAL_TABLES if (folder / f"{table}.csv").is_file()]
    if "stifles" not in present:
        raise InputFileError(
            str(folder),
            "the folder has no mapping and no canonical table stifles.csv",
            do=f"Write mappings/{folder.name}.toml, or name the files after the canonical "
            f"tables: {', '.join(CANONICAL_TABLES)}.",
        )
    rows = [table for table in present if table != "clinics"]
    for table in present:
        ordinary_file(folder, f"{table}.csv")
        path = folder / f"{table}.csv"
        check_clinic(str(path), folder.name, _named_clinics(path))
    return ClinicMapping(
        clinic_id=folder.name,
        path=str(folder),
        file_name="clinics.csv",
        grammar=Grammar(missing={reason: reason for reason in MISSING_REASONS}),
        files=tuple(_file(folder, table) for table in rows),
        ignore_files=("clinics.csv",),
        tables=tuple(
            table_mapping(_header(path), str(path), table=table, codebook=codebook)
            for table, path in ((table, folder / f"{table}.csv") for table in rows)
        ),
        facts=_facts(folder / "clinics.csv", codebook) if "clinics" in present else {},
    )


def _file(folder: Path, table: str) -> SourceFile:
    has_clinic = "clinic_id" in _header(folder / f"{table}.csv")
    return SourceFile(
        name=table, path=f"{table}.csv", ignore=("clinic_id",) if has_clinic else (),
        may_be_empty=table in MAY_BE_EMPTY,
    )  # fmt: skip


def _named_clinics(path: Path) -> Iterable[tuple[int, str | None]]:
    rows = csv.DictReader(decode(path, "utf-8").splitlines())
    return ((number, row.get("clinic_id")) for number, row in enumerate(rows, start=2))


def check_clinic(where: str, clinic_id: str, named: Iterable[tuple[int, str | None]]) -> None:
    """Refuse a table that speaks of another clinic than its folder; row and name are given."""
    for number, name in named:
        if name and name.strip() != clinic_id:
            raise InputFileError(
                f"{where}, row {number}",
                f'clinic_id is not that of the folder, "{clinic_id}"',
                do="Give each clinic a folder of its own, named like its clinic_id.",
            )


def table_mapping(
    header: Sequence[str], where: str, *, table: str, codebook: tuple[Variable, ...]
) -> TableMapping:
    """Map each column to the variable of its name; `where` is the file or sheet, for messages."""
    declared = [item.name for item in of_table(codebook, table)]
    allowed = dict.fromkeys([*declared, *EXTRA_KEYS])
    for name in header:
        if name not in allowed:
            raise MappingError(
                where, f'the codebook has no variable "{shown(name)}" in {table}',
                do="Rename the column, or declare it in the study's codebook. "
                + nearest(name, allowed),
            )  # fmt: skip
    return TableMapping(
        tables=(table,), source=table,
        columns={name: (Source(columns=(name,)),) for name in header if name != "clinic_id"},
    )  # fmt: skip


def _facts(path: Path, codebook: tuple[Variable, ...]) -> dict[str, str]:
    """Read the one row of clinics.csv."""
    return facts_of(list(csv.DictReader(decode(path, "utf-8").splitlines())), str(path), codebook)


def facts_of(
    rows: Sequence[Mapping[str, str]], where: str, codebook: tuple[Variable, ...]
) -> dict[str, str]:
    """Give the facts of the one row of the table clinics."""
    names = {item.name for item in of_table(codebook, "clinics")}
    unknown = [name for name in (rows[0] if rows else {}) if name not in names]
    if len(rows) != 1 or unknown:
        raise InputFileError(
            where,
            "it must hold one row and only the variables of the codebook",
            do=nearest(unknown[0], names) if unknown else "Give one row for this clinic.",
        )
    return {name: text for name, text in rows[0].items() if text}


def _header(path: Path) -> list[str]:
    lines = decode(path, "utf-8").splitlines()
    return [name.strip() for name in next(csv.reader(lines), [])]
