"""One cell that says several things: "Blockrezession, TTT, 2 KD + Zuggurtung"."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

import polars as pl

from pipeline.intake import grammar as read
from pipeline.intake.cells import CELL_SCHEMA, as_type, cell_schema
from pipeline.intake.distinct import distinct_rows, spread
from pipeline.intake.sources import Grammar, Word, WordList
from schemas.codebook import Variable

NOT_UNDERSTOOD = "M05"


@dataclass(slots=True)
class Said:
    """What one text says: codes, reasons for missing values, what is left in doubt and why."""

    codes: dict[str, str] = field(default_factory=dict[str, str])
    missing: dict[str, str] = field(default_factory=dict[str, str])
    doubtful: set[str] = field(default_factory=set[str])
    unknown: list[str] = field(default_factory=list[str])


def read_list(
    rows: pl.DataFrame, words: WordList, *, variables: Mapping[str, Variable], grammar: Grammar
) -> dict[str, pl.DataFrame]:
    """Read every variable that a column of lists can set; each distinct text is parsed once.

    A word that is not understood leaves in doubt whatever the other words do not name,
    and two words that contradict each other leave their variable in doubt.
    """
    found = distinct_rows(rows, [words.column])
    if found is not None:
        read_once = _read_cells(found.rows[words.column], words, variables, grammar)
        return {name: spread(cells, found) for name, cells in read_once.items()}
    return _read_cells(rows[words.column].cast(pl.String), words, variables, grammar)


def _read_cells(
    raw: pl.Series, words: WordList, variables: Mapping[str, Variable], grammar: Grammar
) -> dict[str, pl.DataFrame]:
    text = raw.to_frame("t").select(read.tidy(pl.col("t"))).to_series()
    said = {
        item: parse_list(item, words, variables=variables, grammar=grammar)
        for item in text.drop_nulls().unique()
    }
    return {
        name: _cells(raw, text, said, variables[name],
                     column=words.column, blank=grammar.blank)
        for name in words.variables
    }  # fmt: skip


def parse_list(
    text: str, words: WordList, *, variables: Mapping[str, Variable], grammar: Grammar
) -> Said:
    """Read one text: its words in order, then what it says by not naming it."""
    said = Said()
    if text.lower() in grammar.missing and not _lists(words, text):
        reason = grammar.missing[text.lower()]
        said.missing = dict.fromkeys(words.variables, reason)
        return said
    splitter = "|".join(re.escape(mark) for mark in words.separators)
    items = [part.strip() for part in (re.split(splitter, text) if splitter else [text])]
    for item in filter(None, items):
        _take(item, words.words, said, variables=variables, grammar=grammar)
    if said.unknown:
        said.doubtful |= set(words.variables) - {*said.codes, *said.missing}
    else:
        _take_silence(words, said)
    return said


def _lists(words: WordList, text: str) -> bool:
    """Tell whether the list names a text; as with codes, such a word is not one for missing."""
    named = re.escape(text).lower()
    return any(named in word.pattern.lower().split("|") for word in words.words)


def _take_silence(words: WordList, said: Said) -> None:
    """Take what a text says by not naming it, rule after rule."""
    for rule in words.otherwise:
        if all(said.codes.get(name) in codes for name, codes in rule.where.items()):
            for name, code in rule.sets.items():
                if name not in said.missing:
                    said.codes.setdefault(name, code)
            for name, reason in rule.missing.items():
                said.missing.setdefault(name, reason)


def _take(
    item: str, words: tuple[Word, ...], said: Said, *,
    variables: Mapping[str, Variable], grammar: Grammar,
) -> None:  # fmt: skip
    """Take what the first word that fits this item sets, or note that none does."""
    for word in words:
        found = re.fullmatch(word.pattern, item, re.IGNORECASE)
        if found is None:
            continue
        for name, template in word.sets.items():
            code = _code(template, found, variables[name], grammar)
            if code is None or said.codes.setdefault(name, code) != code:
                said.doubtful.add(name)
                said.unknown.append(item)
        said.missing |= word.missing
        return
    said.unknown.append(item)


def _code(template: str, found: re.Match[str], variable: Variable, grammar: Grammar) -> str | None:
    """Give the code a word sets: its own, or what its groups say in the clinic's writing."""
    if "$" not in template:
        return template
    text = re.sub(r"\$(\d)", lambda mark: found.group(int(mark[1])) or "", template)
    if variable.kind in ("int", "float"):
        number = read.read_numbers(pl.Series([text], dtype=pl.String), grammar).item()
        return None if number is None else f"{number:.15g}"
    codes = ("true", "false") if variable.kind == "bool" else tuple(variable.codes)
    return {code.lower(): code for code in codes}.get(text.lower()) if codes else text


def _cells(
    raw: pl.Series, text: pl.Series, said: Mapping[str, Said], variable: Variable, *,
    column: str, blank: str,
) -> pl.DataFrame:  # fmt: skip
    """Give one variable's cells; see cells.py."""
    name = variable.name
    codes = {key: item.codes[name] for key, item in said.items()
             if name in item.codes and name not in item.doubtful}  # fmt: skip
    reasons = {key: _reason(item, name, blank) for key, item in said.items()}
    unknown = {key: "; ".join(item.unknown) for key, item in said.items()}
    code = text.replace_strict(codes, default=None, return_dtype=pl.String)
    reason = text.replace_strict(reasons, default=None, return_dtype=pl.String)
    note = text.replace_strict(unknown, default=None, return_dtype=pl.String)
    empty = {key: pl.lit(None, CELL_SCHEMA[key]) for key in ("on", "base", "given", "nominal")}
    understood = pl.col("value").is_not_null() | pl.col("reason").is_not_null()
    doubted = pl.col("t").is_not_null() & ~understood
    cells = {"raw": raw, "t": text, "value": as_type(code, variable), "reason": reason, "n": note}
    return pl.DataFrame(cells).select(
        "value",
        "raw",
        miss=pl.when(pl.col("t").is_null()).then(pl.lit(blank)).otherwise("reason"),
        rule=pl.when(doubted).then(pl.lit(NOT_UNDERSTOOD)),
        note=pl.when(doubted).then("n"),
        col=pl.lit(column),
        **empty,
    ).select(pl.col(key).cast(dtype) for key, dtype in cell_schema(variable).items())  # fmt: skip


def _reason(said: Said, name: str, blank: str) -> str | None:
    """Say why a variable has no code: a reason named, doubt (none), or simply not mentioned."""
    if name in said.doubtful or name in said.codes:
        return None
    return said.missing.get(name, blank)
