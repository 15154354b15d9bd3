"""Broken rules in words: findings with the file, row, column and text that the clinic knows."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import polars as pl

from pipeline.checks.evaluate import Hit
from pipeline.intake.mapped import ELSEWHERE, RAW, raw_text
from schemas.codebook import Variable
from schemas.findings import FINDING_SCHEMA, findings, query_id
from schemas.rules.joined import select_rows
from schemas.rules.rule import KEY_IN_WORDS, Frames, Rule

BEFORE_NUMBER = {
    "recheck_day": "day ", "complication_no": "event ", "revision_no": "revision ",
    "implant_no": "implant ", "image_id": "image ",
}  # fmt: skip
SHOWN_UNITS = ("kg", "mm", "percent")  # of the others the label speaks: "Day detected: 82"
ADDRESS = ("clinic_id", "file", "sheet", "row", "block")
# Of what one question is asked, where it is not asked of each row.
PLACE_OF_ONE = {"file": ["clinic_id", "file", "sheet"], "clinic": ["clinic_id"]}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Headers:
    """``Mapped.columns`` and ``Mapped.marks``."""

    columns: pl.DataFrame
    marks: pl.DataFrame


Variables = Mapping[tuple[str, str], Variable]


def describe(hits: Iterable[Hit], *, tables: Frames, frames: Frames, headers: Headers,
             variables: Variables) -> pl.DataFrame:  # fmt: skip
    """Put hits in words: one finding a row, or one a file or clinic where the rule says so.

    Parameters
    ----------
    tables
        Canonical tables with their raw texts, for the value as the clinic wrote it.
    frames
        The joined frames the rules saw, for the values of other tables.
    headers
        The clinic's own headers, and which values came from other rows.
    """
    made = [
        _of_rule(hit, tables=tables, frames=frames, headers=headers, variables=variables)
        for hit in hits
    ]
    return pl.concat([findings(), *made])


def key_in_words(frame: pl.DataFrame, table: str) -> pl.Expr:
    """Name a row as a clinic does: "A-0104, left, day 42"."""
    parts = [
        pl.lit(BEFORE_NUMBER.get(name, "")) + _key_part(frame, name) for name in KEY_IN_WORDS[table]
    ]
    return pl.concat_str(parts, separator=", ", ignore_nulls=True)


def query_ids(found: pl.DataFrame) -> pl.Series:
    """Give each finding the id of its question, the same in the next round."""
    named = found.select("clinic_id", "table", "key", "variable", "rule").rows()
    return pl.Series("query_id", [query_id(*fields) for fields in named], dtype=pl.String)


def _key_part(frame: pl.DataFrame, name: str) -> pl.Expr:
    """Take a part of the key from the row, its stifle, or the stifle's code "A-0104:left"."""
    candidates = [
        pl.col(place).cast(pl.String) for place in (name, f"stifles.{name}")
        if place in frame.columns
    ]  # fmt: skip
    if "local_stifle" in frame.columns and name in {"local_animal", "side"}:
        code = pl.col("local_stifle").str.splitn(":", 2)
        part = code.struct.field("field_0" if name == "local_animal" else "field_1")
        candidates.append(pl.when(part != "?").then(part))
    return pl.coalesce(candidates)


def _of_rule(hit: Hit, *, tables: Frames, frames: Frames, headers: Headers,
             variables: Variables) -> pl.DataFrame:  # fmt: skip
    rule = hit.rule
    asked = rule.shows[0]
    raw = tables[rule.table]
    named = [name for name in (asked, RAW + asked) if name in raw.columns]
    text = raw_text(asked) if RAW + asked in named else pl.lit(None, pl.String)
    value = pl.coalesce(text, pl.col(asked).cast(pl.String), pl.lit("")).alias("text_of_cell")
    numbered = _first_of_each(hit, raw, headers) if rule.once else hit.rows
    frame = select_rows(frames, rule.table, _told(rule), of=numbered)
    rows = numbered.join(frame, on="row_id", how="inner", maintain_order="left").join(
        raw.select("row_id", *named).join(numbered, on="row_id", how="semi")
        .select("row_id", value), on="row_id",
        how="left", maintain_order="left",
    )  # fmt: skip
    rows = rows.with_columns(
        value=pl.col("text_of_cell"), key=key_in_words(rows, rule.table), table=pl.lit(rule.table),
        variable=pl.lit(asked),
        says=pl.concat_str(
            pl.lit(rule.says), _space("detail"), _others(hit, rows, variables)
        ),
        rule=pl.lit(rule.id), action=pl.lit(rule.action), fix=pl.lit(rule.fix),
        holds=pl.lit(", ".join(rule.holds)),
    )  # fmt: skip
    headed = _with_header(rows, headers)
    return _once(headed, rule.once) if rule.once else headed.select(*FINDING_SCHEMA)


def _first_of_each(hit: Hit, raw: pl.DataFrame, headers: Headers) -> pl.DataFrame:
    """Give the first row of each file or clinic, with the number of rows: one is put in words.

    Where values come from other rows, and so from other places, all rows are needed.
    """
    elsewhere = headers.marks.filter(
        pl.col("mark").is_in(ELSEWHERE), pl.col("variable") == hit.rule.shows[0]
    )
    if elsewhere.height:
        return hit.rows.with_columns(n_rows=1)
    by = PLACE_OF_ONE[hit.rule.once]
    if hit.rows["row_id"].equals(raw["row_id"]):
        rows = hit.rows.with_columns(raw.select(by))
    else:
        rows = hit.rows.join(
            raw.select("row_id", *by), on="row_id", how="left", maintain_order="left"
        )
    return rows.group_by(by, maintain_order=True).agg(
        pl.col("row_id", "detail").first(), n_rows=pl.len().cast(pl.Int32)
    ).drop(by)  # fmt: skip


def _told(rule: Rule) -> list[str]:
    """Name the columns that words are made of."""
    key = KEY_IN_WORDS[rule.table]
    stifle = ["local_stifle", *(f"stifles.{name}" for name in key)]
    return ["row_id", *ADDRESS, *key, *stifle, *rule.shows]


def _space(name: str) -> pl.Expr:
    return pl.when(pl.col(name) == "").then(pl.lit("")).otherwise(pl.lit(" ") + pl.col(name))


def _others(hit: Hit, rows: pl.DataFrame, variables: Variables) -> pl.Expr:
    """Show the other values the rule looked at: " (Species: Dog; Breed: Beagle)"."""
    shown: list[pl.Expr] = []
    for place in hit.rule.shows[1:]:
        table, _, name = place.rpartition(".")
        variable = variables.get((table or hit.rule.table, name))
        if variable is None or place not in rows.columns:
            continue
        number = pl.col(place).round(2) if variable.kind == "float" else pl.col(place)
        text = number.cast(pl.String)
        if variable.codes:
            text = text.replace(dict(variable.codes))
        unit = f" {variable.unit}" if variable.unit in SHOWN_UNITS else ""
        shown.append(pl.lit(f"{variable.label}: ") + text + pl.lit(unit))
    if not shown:
        return pl.lit("")
    joined = pl.concat_str(shown, separator="; ", ignore_nulls=True)
    return (
        pl.when(joined == "")
        .then(pl.lit(""))
        .otherwise(pl.concat_str(pl.lit(" ("), joined, pl.lit(")")))
    )


def _with_header(rows: pl.DataFrame, headers: Headers) -> pl.DataFrame:
    """Add the clinic's header and, where the value came from elsewhere, that row and header."""
    on = ["clinic_id", "file", "sheet", "table", "block", "variable"]
    named = headers.columns.unique(on, keep="first", maintain_order=True)
    cell = ["row_id", "variable"]
    elsewhere = headers.marks.filter(pl.col("mark").is_in(ELSEWHERE)).unique(
        cell, keep="first", maintain_order=True
    )
    place = ("file", "sheet", "row", "column")
    headed = rows.join(named.select(*on, "column"), on=on, how="left", maintain_order="left")
    return headed.join(
        elsewhere.select(*cell, pl.col(place).name.prefix("other:")),
        on=cell, how="left", maintain_order="left",
    ).with_columns(
        pl.coalesce(f"other:{name}", name).alias(name) for name in place
    ).with_columns(pl.col("column").fill_null(""))  # fmt: skip


def _once(rows: pl.DataFrame, once: str) -> pl.DataFrame:
    """Make one finding of all rows of a file or clinic, with their number."""
    by = PLACE_OF_ONE[once]
    first = rows.group_by(by, maintain_order=True).agg(
        pl.all().exclude(*by, "n_rows").first(), pl.col("n_rows").sum()
    )
    whole = {name: pl.lit("") for name in ("row_id", "value", *({"file", "sheet"} - set(by)))}
    return first.with_columns(
        **whole, row=pl.lit(None, pl.Int64),
        key=pl.col("file") if once == "file" else pl.lit("whole export"),
        says=pl.concat_str(
            pl.col("says").str.replace(r" \(.*\)$", ""), pl.lit(" It concerns "), "n_rows",
            pl.when(pl.col("n_rows") == 1).then(pl.lit(" row.")).otherwise(pl.lit(" rows.")),
        ),
    ).select(*FINDING_SCHEMA)  # fmt: skip
