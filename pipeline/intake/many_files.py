"""A [[file]] whose path is a pattern stands for every file that matches, each by itself."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import polars as pl

from pipeline.intake.mapping import ClinicMapping, SourceFile
from pipeline.intake.received import matching_files
from pipeline.intake.sheet import Sheet
from schemas.findings import findings
from shared.errors import MappingError


def with_every_file(mapping: ClinicMapping, folder: Path) -> ClinicMapping:
    """Write a [[file]] for each file that a pattern means, and its tables for each of them.

    Raises
    ------
    InputFileError
        If no file matches a pattern.
    MappingError
        If two [[file]] read the same file, sheet or member.
    """
    parted = {source.name: _each_file(source, folder) for source in mapping.files}
    files = tuple(item for found in parted.values() for item in found)
    _check_once(files, mapping.path)
    return replace(
        mapping,
        files=files,
        tables=tuple(
            replace(table, source=item.name)
            for table in mapping.tables
            for item in parted[table.source]
        ),
    )


def _each_file(source: SourceFile, folder: Path) -> tuple[SourceFile, ...]:
    if not {"*", "?"} & set(source.path) or (folder / source.path).is_file():
        return (source,)
    return tuple(
        replace(source, name=f"{source.name} {path}", path=path)
        for path in matching_files(folder, source.path)
    )


def _check_once(files: Sequence[SourceFile], where: str) -> None:
    seen: dict[tuple[str, str, str], str] = {}
    for file in files:
        place = (file.path, file.member, file.sheet)
        if place in seen:
            raise MappingError(
                where, f'the [[file]] "{seen[place]}" and "{file.name}" both read {file.path}',
                do="Let their patterns mean different files; each file or sheet is read once.",
            )  # fmt: skip
        seen[place] = file.name


def other_parts(sheets: Mapping[str, Sheet], mapping: ClinicMapping) -> pl.DataFrame:
    """Name the sheets of workbooks and the files of archives that nobody reads."""
    read: set[tuple[str, str]] = set()
    beside: dict[tuple[str, str], str] = {}
    for source in mapping.files:
        sheet = sheets[source.name]
        inside = f"{source.path}/{source.member}" if source.member else source.path
        read |= {(inside, sheet.sheet), (source.path, source.member)}
        beside |= {(inside, name): "sheet" for name in sheet.other_sheets
                   if name not in source.ignore_others}  # fmt: skip
        beside |= {(source.path, name): "file" for name in sheet.other_members
                   if name not in source.ignore_others}  # fmt: skip
    return findings(
        {
            "rule": "M12", "action": "ask", "clinic_id": mapping.clinic_id, "file": file,
            "sheet": name if what == "sheet" else "",
            "says": f'The {what} "{name}" of {file} was received, but nothing reads it.',
            "fix": "The coordinator maps it, or lists it under ignore_others in its [[file]].",
        }
        for (file, name), what in sorted(beside.items()) if (file, name) not in read
    )  # fmt: skip
