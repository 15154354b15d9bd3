"""Working rows -> findings, reasons for missing values, marks and headers."""

from collections.abc import Iterable, Sequence

import polars as pl

from pipeline.intake import words
from pipeline.intake.days import NO_SURGERY_DATE
from pipeline.intake.mapped import COLUMN_SCHEMA, MISSING_SCHEMA, raw_text, with_names
from pipeline.intake.operations import UNPLACED
from schemas.codebook import Variable
from schemas.findings import FINDING_SCHEMA

FINDING_CASTS = pl.Schema(FINDING_SCHEMA)
KEY_NAMES = ("local_animal", "side", "local_stifle")
PLACE = ["file", "sheet", "block"]
_DAYS = ("recheck_day", "detected_day", "revision_day")


def cell_findings(
    rows: pl.DataFrame, table: str, *, variables: Sequence[Variable], clinic_id: str
) -> pl.DataFrame:
    """Make a finding of every cell that is not understood and of every declared approximation."""
    found = [_empty()]
    day = next((name for name in _DAYS if name in rows.columns), None)
    named = {item.name for item in in_export(rows, variables)}
    blank = rows.null_count().row(0, named=True)
    for variable in variables:
        name = variable.name
        if name not in named and not words.stops(table, name):
            continue
        rule = pl.col(f"rule:{name}")
        must = words.stops(table, name) and (name not in KEY_NAMES or table == "animals")
        said = blank[f"rule:{name}"] + blank[f"note:{name}"] < 2 * rows.height
        if not said and not (must and blank[name]):
            continue  # the cells of most variables are all understood
        if must:
            unstated = pl.col(name).is_null() & rule.is_null()
            rule = pl.when(unstated).then(pl.lit("M06")).otherwise(rule)
        if "rule:local_stifle" in rows.columns:  # a row without its stifle is asked about once
            waits = (rule == NO_SURGERY_DATE) & (pl.col("rule:local_stifle") == UNPLACED)
            rule = pl.when(waits.fill_null(value=False)).then(None).otherwise(rule)
        noted = pl.when(pl.col(f"note:{name}").is_not_null()).then(pl.lit("M10"))
        broken = pl.coalesce(rule, noted)
        doubtful = rows.select(broken.is_not_null()).to_series()
        if doubtful.any():
            doubted = rows.filter(doubtful).with_columns(broken.alias("rule"))
            found.append(_finding_rows(doubted, table, variable, clinic_id=clinic_id, day=day))
    return _one_a_cell(pl.concat(found))


def _one_a_cell(found: pl.DataFrame) -> pl.DataFrame:
    """Ask once about a list that leaves several variables in doubt; it holds them all."""
    cell = ["rule", "row_id", "table", "column"]
    lists = found.filter(pl.col("rule") == "M05")
    joined = lists.group_by(cell, maintain_order=True).agg(
        pl.exclude(*cell, "holds").first(), pl.col("holds").str.join(",")
    )
    return pl.concat([found.filter(pl.col("rule") != "M05"), joined.select(found.columns)])


def _finding_rows(
    doubted: pl.DataFrame, table: str, variable: Variable, *, clinic_id: str, day: str | None
) -> pl.DataFrame:
    name = variable.name
    says = {rule: said for rule, (said, _) in words.SAYINGS.items()}
    fix = {rule: todo for rule, (_, todo) in words.SAYINGS.items()}
    rule = pl.col("rule")
    noted = rule == "M10"
    column = pl.col(f"col:{name}").fill_null("")
    fixed = rule.replace_strict(fix).str.replace_all(
        "{choices}", words.choices(variable), literal=True
    )
    stops = "stop" if words.stops(table, name) else "hold"
    return doubted.select(
        rule="rule",
        action=pl.when(noted).then(pl.lit("derive")).otherwise(pl.lit(stops)),
        clinic_id=pl.lit(clinic_id),
        table=pl.lit(table),
        row_id=pl.col("row_id").fill_null(""),
        key=row_key(doubted, day),
        file=place_of(doubted, "file", name), sheet=place_of(doubted, "sheet", name),
        row=place_of(doubted, "row", name),
        column=column,
        variable=pl.lit(name),
        value=raw_text(name).fill_null(""),
        says=rule.replace_strict(says)
        .str.replace_all("{column}", column, literal=True)
        .str.replace_all("{note}", pl.col(f"note:{name}").fill_null(""), literal=True),
        fix=fixed.str.replace_all("{unit}", words.in_unit(variable), literal=True)
        .str.replace_all("{number}", words.as_number(variable), literal=True),
        holds=pl.when(noted).then(pl.lit("")).otherwise(pl.lit(words.held(table, name))),
    ).cast(FINDING_CASTS)  # fmt: skip


def in_export(rows: pl.DataFrame, variables: Iterable[Variable]) -> tuple[Variable, ...]:
    """Give the variables that the export speaks of at all."""
    declared = list(variables)
    parts = [f"{part}:{item.name}" for part in ("col", "miss") for item in declared]
    blank = rows.select(pl.col(parts).null_count()).row(0, named=True) if parts else {}
    return tuple(
        item
        for item in declared
        if f"derived:{item.name}" in rows.columns
        or min(blank[f"col:{item.name}"], blank[f"miss:{item.name}"]) < rows.height
    )  # fmt: skip


def row_key(rows: pl.DataFrame, day: str | None) -> pl.Expr:
    """Say which row is meant in the clinic's words: "A-0104, left, day 42"."""
    parts = [pl.coalesce("local_animal", "local_stifle"), pl.col("side")]
    if day is not None:
        parts.append("day " + pl.col(day).cast(pl.String))
    present = [part for part in parts if rows.height]
    return pl.concat_str(present, separator=", ", ignore_nulls=True)


def place_of(rows: pl.DataFrame, part: str, name: str) -> pl.Expr:
    """Give the place of a cell: that of its row, or of the row that filled it."""
    elsewhere = f"{part}:{name}"
    return pl.coalesce(elsewhere, part) if elsewhere in rows.columns else pl.col(part)


def unknown_words(found: pl.DataFrame) -> pl.DataFrame:
    """List all unknown words of a file together with their counts, one finding a file or sheet."""
    place = ["clinic_id", "file", "sheet"]
    in_list = pl.when(pl.col("rule") == "M05").then(pl.col("says").str.extract(r"part: (.*)$"))
    words = (
        found.filter(pl.col("rule").is_in(["M01", "M05"]))
        .with_columns(word=in_list.otherwise("value"))
        .group_by([*place, "column", "word"]).len()
        .sort([*place, "column", "len", "word"], descending=[False] * 4 + [True, False])
    )  # fmt: skip
    columns = words.group_by([*place, "column"], maintain_order=True).agg(
        pl.concat_str(pl.lit('"'), "word", pl.lit('" ('), "len", pl.lit(")"))
        .str.join(", ")
        .alias("words")
    )
    listed = columns.group_by(place, maintain_order=True).agg(
        pl.concat_str("column", pl.lit(": "), "words").str.join("; ").alias("says")
    )
    return listed.select(
        *place, rule=pl.lit("M09"), action=pl.lit("ask"), table=pl.lit(""), row_id=pl.lit(""),
        key=pl.lit(""), row=pl.lit(None, pl.Int64), column=pl.lit(""), variable=pl.lit(""),
        value=pl.lit(""),
        says=pl.concat_str(
            pl.lit("Words without a meaning, with their counts: "), "says", pl.lit(".")
        ),
        fix=pl.lit("Tell the coordinator what each means, or correct them."),
        holds=pl.lit(""),
    ).select(*FINDING_SCHEMA).cast(FINDING_CASTS)  # fmt: skip


def missing_rows(
    rows: pl.DataFrame, table: str, variables: Sequence[Variable], clinic_id: str
) -> pl.DataFrame:
    """Say why each absent value is absent."""
    parts = [pl.DataFrame(schema=dict(MISSING_SCHEMA))]
    blanks = rows.null_count().row(0, named=True)
    for item in variables:
        reason = f"miss:{item.name}"
        blank, unsaid = blanks[item.name], blanks[reason]
        if not blank or unsaid == rows.height:
            continue
        cells = rows.select("row_no", reason=reason)
        if blank < rows.height or unsaid:  # else every row, whose names then take no room
            wanted = pl.col(item.name).is_null() & pl.col(reason).is_not_null()
            cells = cells.filter(rows.select(wanted).to_series())
        named = {"clinic_id": clinic_id, "table": table, "variable": item.name}
        parts.append(with_names(cells, named, MISSING_SCHEMA))
    return pl.concat(parts)


def header_rows(
    rows: pl.DataFrame, table: str, variables: Iterable[Variable], clinic_id: str
) -> pl.DataFrame:
    """Name the clinic's header behind each variable."""
    firsts = _firsts(rows.select(PLACE))
    parts = [pl.DataFrame(schema=dict(COLUMN_SCHEMA))]
    for item in variables:
        headed = _first_headers(rows, item.name, firsts)
        named = {"clinic_id": clinic_id, "table": table, "variable": item.name}
        parts.append(with_names(headed, named, COLUMN_SCHEMA))
    return pl.concat(parts)


def _firsts(places: pl.DataFrame) -> pl.Series:
    """Give the first row of each file, sheet and block; mostly all are one."""
    one = pl.all_horizontal((pl.all() == pl.all().first()).all())
    if places.height and places.select(one).item():
        return pl.Series([0], dtype=pl.UInt32)
    numbered = places.with_row_index("sulca:first")
    return numbered.unique(subset=PLACE, keep="first", maintain_order=True)["sulca:first"]


def _first_headers(rows: pl.DataFrame, name: str, firsts: pl.Series) -> pl.DataFrame:
    """Give the header of the first row of each file, sheet and block; `firsts` are those rows."""
    headed = rows.select(
        place_of(rows, "file", name).alias("file"), place_of(rows, "sheet", name).alias("sheet"),
        "block", pl.col(f"col:{name}").alias("column"),
    )  # fmt: skip
    told = not headed.select(pl.col("column").null_count()).item()
    if told and f"file:{name}" not in rows.columns:
        return headed.select(pl.all().gather(firsts))
    return headed.filter(pl.col("column").is_not_null()).unique(
        subset=PLACE, keep="first", maintain_order=True
    )


def _empty() -> pl.DataFrame:
    return pl.DataFrame(schema=dict(FINDING_SCHEMA))
