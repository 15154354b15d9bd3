"""All clinics of a study: exports/<clinic>/ and mappings/<clinic>.toml -> one Mapped."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import polars as pl

from pipeline.intake.canonical import canonical_mapping
from pipeline.intake.canonical_workbook import filled_workbook, workbook_mapping
from pipeline.intake.coded import one_type
from pipeline.intake.many_files import other_parts, with_every_file
from pipeline.intake.map import map_clinic
from pipeline.intake.mapped import Mapped
from pipeline.intake.mapping import ClinicMapping
from pipeline.intake.mapping_file import read_mapping
from pipeline.intake.mapping_needs import check_places
from pipeline.intake.read import read_file
from pipeline.intake.screen import screen
from pipeline.intake.screen_allowed import allowed_columns
from schemas.codebook import CANONICAL_TABLES, Variable, codebook_version, read_codebook
from schemas.codebook_history import changed_since
from schemas.findings import findings
from shared.errors import InputFileError, MappingError, nearest
from shared.side_by_side import side_by_side

Codebook = tuple[Variable, ...]


def read_study(folder: Path, codebook: Codebook) -> Mapped:
    """Read the exports of every clinic of a study folder, in the order of their names.

    Raises
    ------
    InputFileError
        If there is no export, or one cannot be read.
    MappingError
        If a mapping is wrong, does not fit its export, or has no export.
    """
    exports = folder / "exports"
    clinics = sorted(item for item in exports.glob("*") if item.is_dir() and item.name[0] != ".")
    if not clinics:
        raise InputFileError(
            str(exports),
            "there is no export",
            do="Make a folder for each clinic and put its files there.",
        )  # fmt: skip
    names = [item.name for item in clinics]
    for path in sorted((folder / "mappings").glob("*.toml")):
        if path.stem not in names:
            raise MappingError(
                str(path),
                f"there is no folder exports/{path.stem}",
                do="Name the mapping after the clinic's folder. " + nearest(path.stem, names),
            )
    return together([read_clinic(folder, name, codebook) for name in names])


def read_clinic(folder: Path, clinic_id: str, codebook: Codebook) -> Mapped:
    """Read, screen and map the export of one clinic of a study folder."""
    export = folder / "exports" / clinic_id
    mapping = with_every_file(clinic_mapping(folder, clinic_id, codebook), export)
    found: list[pl.DataFrame] = [_other_version(mapping), _other_files(export, mapping)]
    read = side_by_side(
        lambda source: screen(read_file(export, source), mapping, source.name), mapping.files
    )
    sheets = {source.name: sheet for source, (sheet, _) in zip(mapping.files, read, strict=True)}
    found += [*(seen for _, seen in read), other_parts(sheets, mapping)]
    mapped = map_clinic(sheets, mapping, codebook)
    return replace(
        mapped, findings=pl.concat([*found, mapped.findings]),
        allowed=allowed_columns(mapping, sheets.values()),
    )  # fmt: skip


def clinic_mapping(folder: Path, clinic_id: str, codebook: Codebook) -> ClinicMapping:
    """Read the clinic's mapping, or make that of a folder which is canonical already."""
    path = folder / "mappings" / f"{clinic_id}.toml"
    if path.is_file():
        mapping = read_mapping(path, codebook)
        check_places(mapping)
        return mapping
    export = folder / "exports" / clinic_id
    workbook = filled_workbook(export)
    return workbook_mapping(workbook, codebook) if workbook else canonical_mapping(export, codebook)


def together(clinics: Sequence[Mapped]) -> Mapped:
    """Put the clinics one below the other."""
    return Mapped(
        tables={table: pl.concat(one_type([item.tables[table] for item in clinics]))
                for table in CANONICAL_TABLES},
        columns=pl.concat([item.columns for item in clinics]),
        missing=pl.concat([item.missing for item in clinics]),
        findings=pl.concat([item.findings for item in clinics]),
        set_aside=pl.concat([item.set_aside for item in clinics]),
        ledger=pl.concat([item.ledger for item in clinics]),
        dates=pl.concat([item.dates for item in clinics]),
        marks=pl.concat([item.marks for item in clinics]),
        allowed=pl.concat([item.allowed for item in clinics]),
    )  # fmt: skip


def _other_version(mapping: ClinicMapping) -> pl.DataFrame:
    """Ask about a mapping written for another codebook; a study's own variables do not count."""
    declared = read_codebook()
    if mapping.codebook_version in ("", codebook_version(declared)):
        return findings()
    changed = changed_since(mapping.codebook_version, declared)
    named = "that version is not known here" if changed is None else ", ".join(changed)
    return findings([{
        "rule": "M15", "action": "ask", "clinic_id": mapping.clinic_id, "file": mapping.file_name,
        "says": f"The mapping was written for codebook {mapping.codebook_version}; "
                f"this is codebook {codebook_version(declared)}. Changed since: {named}.",
        "fix": "Go through the changed variables, then write the new version into the mapping.",
    }])  # fmt: skip


def _other_files(export: Path, mapping: ClinicMapping) -> pl.DataFrame:
    """Name the files of the folder that the mapping does not read."""
    known = {source.path for source in mapping.files} | set(mapping.ignore_files)
    files = sorted(item for item in export.rglob("*") if item.is_file() and item.name[0] != ".")
    names = [item.relative_to(export).as_posix() for item in files]
    return findings(
        {
            "rule": "M12", "action": "ask", "clinic_id": mapping.clinic_id, "file": name,
            "says": f"The file {name} was received, but nothing reads it.",
            "fix": "The coordinator maps it, or lists it under ignore_files in the mapping.",
        }
        for name in names if name not in known
    )  # fmt: skip
