"""Nothing identifying leaves: every column is declared, and what is kept looks harmless."""

from collections.abc import Mapping
from dataclasses import replace

import polars as pl

from pipeline.intake.mapping import ClinicMapping
from pipeline.intake.screen import screen
from pipeline.intake.screen_cells import shown
from pipeline.intake.sheet import ROW, Sheet
from pipeline.mask_config import DATE, MaskConfig, MaskedFile
from shared.errors import InputFileError, MappingError, nearest

# What a date looks like, in figures or with a month's name. A kept one would tell the true day.
DATE_PATTERN = (
    r"(?:^|[^0-9])(?:[0-9]{1,2}([./-])[0-9]{1,2}[./-](?:[0-9]{4}|[0-9]{2})"
    r"|(?:19|20)[0-9]{2}[./-][0-9]{1,2}[./-][0-9]{1,2}"
    r"|[0-9]{1,2}[. -]{1,2}\p{L}{3,9}[. -]{1,2}(?:19|20)[0-9]{2})(?:$|[^0-9])"
)
LONG_TEXT = 60  # characters; a longer cell is probably a remark


def require_declared(sheet: Sheet, file: MaskedFile, config: MaskConfig) -> None:
    """Refuse a column that the settings do not declare, and one they declare that is not there.

    Raises
    ------
    MappingError
        The column is named.
    """
    declared = [*file.one.values(), *(name for names in file.many.values() for name in names)]
    for name in sheet.header:
        if name not in declared:
            raise MappingError(
                f"{config.path}, {file.source.path}", f'the column "{shown(name)}" is not declared',
                do="Say what it is: put it under keep, dates or drop, or name its part. Nothing "
                "is sent that was not declared.",
            )  # fmt: skip
    for name in declared:
        if name not in sheet.header:
            raise MappingError(
                f"{config.path}, {file.source.path}", f'there is no column "{name}"',
                do=nearest(name, sheet.header),
            )  # fmt: skip


def require_harmless(sheet: Sheet, file: MaskedFile, config: MaskConfig) -> None:
    """Refuse to send a kept column that looks identifying or holds dates.

    Raises
    ------
    InputFileError
        The column, what it looks like and the first row; never what stands there.
    """
    kept = replace(sheet, rows=sheet.rows.select(ROW, *file.kept))
    mapping = ClinicMapping(
        clinic_id=config.clinic_id, path=config.path, file_name=config.path, allowed=config.allowed
    )  # fmt: skip
    _, found = screen(kept, mapping, file.source.name)
    for column, says, row in found.select("column", "says", "row").iter_rows():
        raise _refused(sheet, column, says.split(";")[0].rstrip("."), row)
    dated = {item.column for item in config.allowed if DATE in item.kinds}
    for name in file.kept:
        hits = kept.rows.filter(pl.col(name).str.contains(DATE_PATTERN))[ROW]
        if len(hits) and name not in dated:
            raise _refused(sheet, name, f'The column "{name}" holds dates', hits[0])


def _refused(sheet: Sheet, column: str, what: str, row: int | None) -> InputFileError:
    where = f"{sheet.where}, row {row}" if row else sheet.where
    return InputFileError(
        where, f"{what[0].lower()}{what[1:]}",
        do=f'Put "{column}" under drop, or under dates if it holds dates. If it is harmless, say '
        "so and why in [[not_identifying]].",
    )  # fmt: skip


def long_texts(rows: pl.DataFrame, file: MaskedFile) -> Mapping[str, int]:
    """Count cells of kept columns that are so long that they may be remarks."""
    counts = {
        name: rows.filter(pl.col(name).str.len_chars() > LONG_TEXT).height for name in file.kept
    }
    return {name: count for name, count in counts.items() if count}
