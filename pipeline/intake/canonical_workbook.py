"""A clinic that sends the filled-in workbook of the contract: one sheet per canonical table."""

from collections.abc import Mapping
from pathlib import Path

from pipeline.intake.canonical import MAY_BE_EMPTY, check_clinic, facts_of, table_mapping
from pipeline.intake.mapping import MISSING_REASONS, ClinicMapping, SourceFile
from pipeline.intake.read import read_file
from pipeline.intake.sheet import ROW, Sheet
from pipeline.intake.sources import Grammar
from schemas.codebook import CANONICAL_TABLES, Variable
from shared.errors import InputFileError

READ_ME, CODES = "Read me", "Codes"  # sheets that explain and hold nothing of the clinic
ENDINGS = {".xlsx": "xlsx", ".ods": "ods"}
MIDNIGHT = " 00:00:00"  # a real date cell comes with it


def filled_workbook(folder: Path) -> Path | None:
    """Give the one workbook of a folder that holds no CSV of canonical tables."""
    found = sorted(path for path in folder.glob("*") if path.suffix.lower() in ENDINGS)
    return found[0] if len(found) == 1 and not (folder / "stifles.csv").exists() else None


def workbook_mapping(path: Path, codebook: tuple[Variable, ...]) -> ClinicMapping:
    """Make the mapping of a filled-in workbook; its header names the variables.

    Raises
    ------
    InputFileError
        If it has no sheet "stifles", cannot be read, or speaks of another clinic than its folder.
    MappingError
        If a sheet holds a column that the codebook does not declare.
    """
    sheets = _sheets(path)
    folder = path.parent
    for sheet in sheets.values():
        if "clinic_id" in sheet.header:
            check_clinic(sheet.where, folder.name, sheet.rows.select(ROW, "clinic_id").iter_rows())
    rows = [table for table in sheets if table != "clinics"]
    return ClinicMapping(
        clinic_id=folder.name,
        path=str(path),
        file_name=path.name,
        grammar=Grammar(missing={reason: reason for reason in MISSING_REASONS}),
        files=tuple(
            _source(path, table, ("clinic_id",) if "clinic_id" in sheets[table].header else ())
            for table in rows
        ),
        tables=tuple(
            table_mapping(sheets[table].header, sheets[table].where, table=table, codebook=codebook)
            for table in rows
        ),
        facts=_facts(sheets["clinics"], codebook) if "clinics" in sheets else {},
    )


def _sheets(path: Path) -> Mapping[str, Sheet]:
    """Read the sheets that are named like canonical tables."""
    first = read_file(path.parent, _source(path, "stifles"))
    names = [table for table in CANONICAL_TABLES if table in (*first.other_sheets, "stifles")]
    return {
        table: first if table == "stifles" else read_file(path.parent, _source(path, table))
        for table in names
    }


def _source(path: Path, table: str, ignore: tuple[str, ...] = ()) -> SourceFile:
    return SourceFile(
        name=table, path=path.name, format=ENDINGS[path.suffix.lower()], sheet=table,
        ignore=ignore, ignore_others=(READ_ME, CODES, "clinics"),
        may_be_empty=table in MAY_BE_EMPTY,
    )  # fmt: skip


def _facts(sheet: Sheet, codebook: tuple[Variable, ...]) -> dict[str, str]:
    rows = [
        {name: (text or "").removesuffix(MIDNIGHT) for name, text in row.items() if name != ROW}
        for row in sheet.rows.select(ROW, *sheet.header).iter_rows(named=True)
    ]
    if not rows:
        raise InputFileError(sheet.where, "the facts of the clinic are missing",
                             do="Fill in the one row of this sheet.")  # fmt: skip
    return facts_of(rows, sheet.where, codebook)
