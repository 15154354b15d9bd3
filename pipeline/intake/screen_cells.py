"""Which texts hold a direct identifier, and of which kinds."""

from collections.abc import Sequence

import polars as pl

from pipeline.intake.coded import own_texts
from pipeline.intake.distinct import distinct_texts
from pipeline.intake.screen_patterns import KINDS, NOT_SAFE, SAFE, WORDLESS, Kind
from shared.side_by_side import side_by_side

SHORTEST = 6  # bytes of the shortest identifier
UNSEEN = (
    r"[\u{200b}-\u{200f}\u{2028}-\u{202e}\u{2060}-\u{2064}\u{feff}\u{ad}]"  # hide an identifier
)
TEXT = "text"
NAMES = r"^\p{Lu}[\p{L}'’-]+(?: \p{L}[\p{L}'’.-]*){0,2}$"
FEW_NAMES, REPEATED_NAMES, MOST = 5, 3, 0.8  # species or codes are few and repeat often


def kinds_in(rows: pl.DataFrame, columns: Sequence[str]) -> pl.DataFrame:
    """Give the texts of these columns that hold an identifier, and the kinds they hold.

    Returns
    -------
    pl.DataFrame
        ``text`` and one Boolean column per kind; each text once, others not at all.
    """
    doubtful = _doubtful_of(rows, columns)
    found = doubtful.select(TEXT)
    for name, kind in KINDS.items():
        found = found.join(_holding(kind, doubtful, name), on=TEXT, how="left")
    seen = found.with_columns(pl.col(list(KINDS)).fill_null(value=False))
    return seen.filter(pl.any_horizontal(*KINDS)).sort(TEXT)


def _doubtful_of(rows: pl.DataFrame, columns: Sequence[str]) -> pl.DataFrame:
    """Give the texts of these columns that may hold an identifier, each once."""
    found = side_by_side(_not_wordless, rows.select(columns))
    return _doubtful(pl.concat([pl.Series(TEXT, [], pl.String), *found]).unique())


def _not_wordless(cells: pl.Series) -> pl.Series:
    """Leave out, of a column's texts, what is short and most of what is safe."""
    texts = own_texts(cells)  # one that stands in no cell any more does no harm
    texts = texts.filter(texts.str.len_bytes() >= SHORTEST)
    return distinct_texts(texts.filter(~texts.str.contains(WORDLESS))).rename(TEXT)


def _doubtful(texts: pl.Series) -> pl.DataFrame:
    """Leave out plain numbers, dates and case numbers; write the others without disguise."""
    shown = pl.col(TEXT).str.normalize("NFKC").str.replace_all(UNSEEN, "")
    ascii_only = pl.col(TEXT).str.len_bytes() == pl.col(TEXT).str.len_chars()
    plain = pl.when(ascii_only).then(TEXT).otherwise(shown)
    words = pl.col("plain").str.contains_any(NOT_SAFE, ascii_case_insensitive=True)
    safe = pl.col("plain").str.contains(SAFE) & ~words
    return texts.to_frame(TEXT).with_columns(plain.alias("plain")).filter(~safe)


def _holding(kind: Kind, doubtful: pl.DataFrame, name: str) -> pl.DataFrame:
    """Give the texts with this kind, looking past what only looks like it."""
    likely = doubtful.filter(pl.col("plain").str.contains(kind.needs))
    if likely.is_empty():
        return likely.select(TEXT, pl.lit(value=True).alias(name))
    left = pl.col("plain")
    for pattern in kind.past:
        left = left.str.replace_all(pattern, "|")
    found = [pl.col("plain").str.contains(pattern) for pattern in kind.whole]
    found += [left.str.contains(pattern) for pattern in kind.cells]
    return likely.filter(pl.any_horizontal(found)).select(TEXT, pl.lit(value=True).alias(name))


def of_names(cells: pl.Series) -> bool:
    """Say whether a column holds names: many different cells, nearly all capitalised words."""
    different = distinct_texts(cells).drop_nulls().str.strip_chars().unique()
    filled = len(cells) - cells.null_count()
    many = len(different) >= FEW_NAMES and REPEATED_NAMES * len(different) >= filled
    return many and different.str.contains(NAMES).sum() >= MOST * len(different)


def looks_identifying(text: str) -> bool:
    """Say whether one text looks like it holds a direct identifier."""
    return not kinds_in(pl.DataFrame({TEXT: [text]}), [TEXT]).is_empty()


def shown(text: str) -> str:
    """Give a text for a message, unless it looks like an identifier."""
    return "(not shown: it looks like an identifier)" if looks_identifying(text) else text
