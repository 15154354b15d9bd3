"""What screening refused, as findings: where and of which kind, never the text."""

from collections.abc import Iterable, Sequence

import polars as pl

from pipeline.intake.screen_patterns import KINDS
from pipeline.intake.sheet import ROW, Sheet
from schemas.findings import findings

RULES = {
    "S01": "a cell that looks like it holds a direct identifier",
    "S02": "a column whose header announces a direct identifier",
    "S03": "a column most of whose cells look like they hold a direct identifier",
}
LEAVE_OUT = (
    "Leave the column out of your export. If it holds something else, the coordinator can allow "
    "it in the mapping under [[not_identifying]]."
)
BIRTH_DATE = (
    "Send the age in its place; or the coordinator reads the column in the mapping with "
    'as = "birth_date" and in no other way: it becomes an age in whole months.'
)


def cells_refused(sheet: Sheet, clinic_id: str, column: str, places: pl.DataFrame) -> pl.DataFrame:
    """Ask about each cell that was not read; `places` has ROW and a Boolean column per kind."""
    kinds = [name for name in places.columns if name != ROW]
    return findings(
        _where(sheet, clinic_id, column, row=row[ROW])
        | {
            "rule": "S01",
            "says": f'The cell in column "{column}" looks like it holds '
                    f"{in_words(kind for kind in kinds if row[kind])}; it was not read.",
            "fix": "Remove it in your export and send the file again.",
        }
        for row in places.iter_rows(named=True)
    )  # fmt: skip


def column_refused(sheet: Sheet, clinic_id: str, column: str, kinds: Sequence[str]) -> pl.DataFrame:
    """Ask about a column that was not read because of its header."""
    return findings([
        _where(sheet, clinic_id, column, row=None)
        | {
            "rule": "S02",
            "says": f'The column "{column}" looks like it holds {in_words(kinds)}; '
                    "it was not read.",
            "fix": BIRTH_DATE if list(kinds) == ["birth_date"] else LEAVE_OUT,
        }
    ])  # fmt: skip


def mostly_refused(sheet: Sheet, clinic_id: str, column: str, places: pl.DataFrame) -> pl.DataFrame:
    """Ask once about a column that was not read because of its cells."""
    kinds = [name for name in places.columns if name != ROW and places[name].any()]
    return findings([
        _where(sheet, clinic_id, column, row=None)
        | {
            "rule": "S03",
            "says": f'{places.height} cells of the column "{column}", which is most of them, look '
                    f"like they hold {in_words(kinds)}; the column was not read.",
            "fix": LEAVE_OUT,
        }
    ])  # fmt: skip


def in_words(kinds: Iterable[str]) -> str:
    """Name kinds in a sentence: "a telephone number and an e-mail address"."""
    wanted = set(kinds)
    said = [kind.says for name, kind in KINDS.items() if name in wanted]
    return " and ".join(filter(None, [", ".join(said[:-1]), *said[-1:]]))


def _where(sheet: Sheet, clinic_id: str, column: str, *, row: int | None) -> dict[str, object]:
    """Give the place; it stands in the key too, so that each place is a question of its own."""
    place = [sheet.file, sheet.sheet, "" if row is None else f"row {row}", column]
    return {
        "action": "ask", "clinic_id": clinic_id, "file": sheet.file, "sheet": sheet.sheet,
        "row": row, "column": column, "key": ", ".join(filter(None, place)),
    }  # fmt: skip
