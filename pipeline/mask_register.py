"""What the files of an export know together: each animal's transponder, and who may leave."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

from pipeline.intake.coded import as_text
from pipeline.intake.read import read_file
from pipeline.intake.sheet import ROW, Sheet
from pipeline.mask_config import MaskConfig, MaskedFile
from pipeline.mask_rows import read_dated
from pipeline.mask_tokens import normalised_code, normalised_transponder
from shared.errors import InputFileError

NOT_SENT = "its operation is not sent"


@dataclass(frozen=True, slots=True, kw_only=True)
class Register:
    """Transponder number by animal code; operated animals that leave, with and without side.

    `operated` is None where no file of the export tells the day of surgery.
    """

    transponders: Mapping[str, str] = field(default_factory=dict[str, str])
    n_unusable: int = 0
    operated: frozenset[tuple[str, str]] | None = None

    def part(self, rows: pl.DataFrame, file: MaskedFile) -> tuple[pl.DataFrame, pl.DataFrame]:
        """Give the rows that leave, and how many do not by reason."""
        if self.operated is not None and not file.many["surgery_date"]:
            sides = {side for _, side in self.operated}
            sent = [
                (animal, side if side in sides else "") in self.operated
                for animal, side in _places(rows, file)
            ]
            lost = pl.when(~pl.Series(sent, dtype=pl.Boolean)).then(pl.lit(NOT_SENT))
            rows = rows.with_columns(pl.coalesce("why", lost).alias("why"))
        aside = rows.filter(pl.col("why").is_not_null())
        why = aside.group_by("why", maintain_order=True).len().sort("why")
        return rows.filter(pl.col("why").is_null()).drop("why"), why


def read_register(folder: Path, config: MaskConfig) -> Register:
    """Read transponder numbers and operations of all declared files.

    Raises
    ------
    InputFileError
        If a file that tells of them is not there, or an animal has two transponder numbers: its
        dates would not be shifted alike in all files.
    """
    numbers: dict[str, tuple[str, str]] = {}
    operated: set[tuple[str, str]] = set()
    unusable, dated = 0, False
    for file in config.files:
        tells = "transponder" in file.one or file.many["surgery_date"]
        sheet = read_file(folder, file.source) if tells else None
        if sheet and "transponder" in file.one:
            unusable += _add_numbers(sheet, file, numbers)
        if sheet and file.many["surgery_date"]:
            rows = read_dated(replace(sheet, rows=as_text(sheet.rows)), file, config).rows
            sent = rows.filter(pl.col("why").is_null())
            operated |= {place for animal, side in _places(sent, file)
                         for place in ((animal, side), (animal, ""))}  # fmt: skip
            dated = True
    return Register(
        transponders={code: number for code, (number, _) in numbers.items()},
        n_unusable=unusable, operated=frozenset(operated) if dated else None,
    )  # fmt: skip


def _places(rows: pl.DataFrame, file: MaskedFile) -> list[tuple[str, str]]:
    """Give animal and side of each row; the side blank where the file has none."""
    side = file.one.get("side")
    sides = rows[side].to_list() if side else [""] * rows.height
    return [(code, normalised_code(text or "").lower())
            for code, text in zip(rows[file.animal].to_list(), sides, strict=True)]  # fmt: skip


def _add_numbers(sheet: Sheet, file: MaskedFile, numbers: dict[str, tuple[str, str]]) -> int:
    """Add the transponder numbers of a file; count texts that are none."""
    unusable = 0
    columns = sheet.rows.select(ROW, file.animal, file.one["transponder"])
    for row, animal, text in columns.iter_rows():
        if text is None or not text.strip():
            continue
        number, code = normalised_transponder(text), normalised_code(animal or "")
        if number is None or not code:
            unusable += 1
            continue
        place = f"{sheet.where}, row {row}"
        known, before = numbers.setdefault(code, (number, place))
        if known != number:
            raise InputFileError(
                place, f"the animal of this row has another transponder number than in {before}",
                do="Correct the one that is wrong, or give two animals two codes.",
            )  # fmt: skip
    return unusable
