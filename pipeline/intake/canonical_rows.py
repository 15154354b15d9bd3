"""Working rows -> rows of the canonical tables: placed, numbered, animals folded, blanks filled."""

from collections.abc import Sequence
from itertools import pairwise

import polars as pl

from pipeline.intake.animals import doubts_of_folded, fold_animals
from pipeline.intake.cells import as_type, cell_columns, with_cells
from pipeline.intake.coded import one_type
from pipeline.intake.days import count_days
from pipeline.intake.fills import fill_rows, over_stifles
from pipeline.intake.mapped import ADDRESS, RAW
from pipeline.intake.mapping import ClinicMapping
from pipeline.intake.numbers import RUNNING
from pipeline.intake.operations import index_operations, needs_operations, place_rows
from pipeline.intake.parts import KEYS, Part, Reading, key_variables
from pipeline.intake.words import STOPS
from schemas.codebook import CANONICAL_TABLES, Variable, of_table
from shared.side_by_side import both, side_by_side

Codebook = tuple[Variable, ...]
PLACE = ("file", "sheet", "row", "block")
ROW_PLACE = ("file", "sheet", "row")
FILE_STEP = 1_000_000  # "sulca:order" counts files in steps of this, see parts.py


def working_codebook(mapping: ClinicMapping, codebook: Codebook) -> Codebook:
    """Give the declarations of what the mapping fills, and of what places and numbers a row."""
    wanted = {*mapping.variables, *KEYS, "clinic_id", *(name for _, name in STOPS)}
    wanted |= {name for pair in RUNNING.values() for name in pair}
    return tuple(item for item in codebook if item.name in wanted)


def placed_parts(reading: Reading, codebook: Codebook) -> list[Part]:
    """Place every row on its stifle and count its days from that stifle's surgery."""
    keys = tuple(key_variables(codebook).values())

    def alone(part: Part) -> pl.DataFrame | None:
        return None if _waits(part) else place_rows(part.rows, keys)

    def placed(part: Part, rows: pl.DataFrame | None, operations: pl.DataFrame) -> Part:
        if rows is None or needs_operations(part.rows):
            rows = place_rows(part.rows, keys, operations)
        if part.table.fills and part.table.tables != ("animals",):
            rows = over_stifles(rows, operations)
        own = tuple(item for item in codebook if item.table in part.table.tables)
        return Part(table=part.table, rows=count_days(rows, own, operations))

    def operated(parts: Sequence[Part]) -> tuple[pl.DataFrame, list[Part]]:
        rows = side_by_side(alone, parts)
        operations = _operations([one for one in rows if one is not None], codebook)
        pairs = zip(parts, rows, strict=True)
        return operations, side_by_side(lambda pair: placed(*pair, operations), pairs)

    # What operations say of themselves is counted while other rows are still looked for.
    of_operations = [part for part in reading.parts if _operates(part)]
    others = [part for part in reading.parts if not _operates(part)]
    (operations, first), rows = both(
        lambda: operated(of_operations), lambda: side_by_side(alone, others)
    )
    pairs = zip(others, rows, strict=True)
    rest = side_by_side(lambda pair: placed(*pair, operations), pairs)
    made = {True: iter(first), False: iter(rest)}
    return [next(made[_operates(part)]) for part in reading.parts]


def _operations(stifles: Sequence[pl.DataFrame], codebook: Codebook) -> pl.DataFrame:
    """Give the operations that rows of stifles tell of, as in `index_operations`."""
    names = [*KEYS, "surgery_date"]
    none = with_cells(pl.DataFrame(), of_table(codebook, "stifles")).clear()
    return index_operations(pl.concat(rows.select(names) for rows in (none, *stifles)))


def _waits(part: Part) -> bool:
    """Tell rows whose stifle is only found among those that were operated."""
    return not _operates(part) and needs_operations(part.rows)


def _operates(part: Part) -> bool:
    """Tell the rows that say of a stifle when it was operated."""
    return "stifles" in part.table.tables and not part.table.fills


def canonical_rows(
    parts: Sequence[Part], clinic_id: str, codebook: Codebook
) -> tuple[dict[str, pl.DataFrame], dict[str, pl.DataFrame]]:
    """Gather the working rows of each canonical table in the order of the files.

    Returns
    -------
    tuple of dict
        Rows by table with their row_id; and, by table, rows that were folded into another,
        whose doubtful cells must still be asked about.
    """
    names = CANONICAL_TABLES[1:]
    made = side_by_side(lambda table: _table_rows(table, parts, clinic_id, codebook), names)
    tables = {table: rows for table, (rows, _) in zip(names, made, strict=True)}
    folded = {
        table: doubtful for table, (_, doubtful) in zip(names, made, strict=True)
        if doubtful is not None
    }  # fmt: skip
    return tables, folded


def _table_rows(
    table: str, parts: Sequence[Part], clinic_id: str, codebook: Codebook
) -> tuple[pl.DataFrame, pl.DataFrame | None]:
    rows_of = [part.rows for part in parts if table in part.table.tables]
    every = _gathered(rows_of, _row_schema(codebook, table) | _elsewhere(rows_of))
    rows = fold_animals(every, of_table(codebook, table)) if table == "animals" else every
    number = pl.int_range(1, pl.len() + 1)
    rows = rows.with_columns(
        pl.concat_str(pl.lit(f"{clinic_id}/{table}/"), number.cast(pl.String)).alias("row_id"),
        number.cast(pl.UInt32).alias("row_no"),
        pl.lit(clinic_id).alias("clinic_id"),
    )
    return rows, doubts_of_folded(every, rows) if every.height > rows.height else None


def _row_schema(codebook: Codebook, table: str) -> dict[str, pl.DataType]:
    """Name the columns of a table's working rows: its own variables and the keys."""
    variables = {item.name: item for item in of_table(codebook, table)}
    variables |= {name: item for name, item in key_variables(codebook).items()
                  if name not in variables}  # fmt: skip
    cells = [cell_columns(item) for item in variables.values()]
    extra = {"sulca:order": pl.Int64(), "sulca:inherited": pl.Boolean()}
    return _place_schema() | extra | {name: dtype for item in cells for name, dtype in item.items()}


def _elsewhere(parts: Sequence[pl.DataFrame]) -> dict[str, pl.DataType]:
    """Name the columns that say in which other row a value stands."""
    return {
        f"{place}:{name.removeprefix('row:')}": dtype
        for part in parts for name in part.columns if name.startswith("row:")
        for place, dtype in _place_schema().items() if place in ROW_PLACE
    }  # fmt: skip


def _gathered(parts: Sequence[pl.DataFrame], schema: dict[str, pl.DataType]) -> pl.DataFrame:
    """Put the parts one below the other, in the order of files and their rows."""
    shaped = [_shaped(rows, schema) for rows in parts if rows.height]
    if not shaped:
        return pl.DataFrame(schema=schema)
    # Not with an empty frame: its columns would take room in all.
    rows = shaped[0] if len(shaped) == 1 else pl.concat(one_type(shaped))
    if _in_order(shaped):
        return rows
    return rows.sort(
        pl.col("sulca:order") // FILE_STEP, "row", "sulca:order", "block", maintain_order=True
    )


def _in_order(parts: Sequence[pl.DataFrame]) -> bool:
    """Tell parts that each follow their own file, file after file."""
    files = [int(rows["sulca:order"][0]) // FILE_STEP for rows in parts]
    return all(one < other for one, other in pairwise(files)) and all(
        rows.select((pl.col("row").diff() > 0).all()).item() for rows in parts
    )


def _place_schema() -> dict[str, pl.DataType]:
    return {name: ADDRESS[name] for name in PLACE}


def _shaped(rows: pl.DataFrame, schema: dict[str, pl.DataType]) -> pl.DataFrame:
    return rows.select(
        pl.lit(None, dtype).alias(name) if name not in rows.columns
        else pl.col(name) if name.startswith(RAW)  # may be coded
        else pl.col(name).cast(dtype)
        for name, dtype in schema.items()
    )  # fmt: skip


def reported(codebook: Codebook, table: str) -> tuple[Variable, ...]:
    """Give the variables whose cells are reported for a table: its own, and its keys."""
    own = tuple(item for item in of_table(codebook, table) if item.name != "clinic_id")
    if table in ("animals", "clinics"):
        return own
    names = {item.name for item in own}
    return (*own, *(item for name, item in key_variables(codebook).items() if name not in names))


def fill_tables(
    tables: dict[str, pl.DataFrame], parts: Sequence[Part], codebook: Codebook
) -> list[pl.DataFrame]:
    """Fill blanks from rows that add to other rows; give the places of the rows that found one."""
    used: list[pl.DataFrame] = []
    for part in parts:
        for table in part.table.tables:
            key = "local_animal" if table == "animals" else "local_stifle"
            variables = [
                item for item in reported(codebook, table)
                if item.name in part.table.columns and item.name not in KEYS
            ]  # fmt: skip
            tables[table] = fill_rows(tables[table], part.rows, key=key, variables=variables)
            met = part.rows.join(tables[table].select(key), on=key, how="semi")
            used.append(met.select(ROW_PLACE))
    return used


def clinic_row(mapping: ClinicMapping, codebook: Codebook) -> pl.DataFrame:
    """Make the clinic's own row from the facts of its mapping."""
    variables = of_table(codebook, "clinics")
    row = pl.DataFrame(
        {"file": [mapping.file_name], "sheet": [""], "row": [None], "block": [""],
         "row_id": [f"{mapping.clinic_id}/clinics/1"], "row_no": [1]},
        schema=_place_schema() | {"row_id": pl.String(), "row_no": pl.UInt32()},
    )  # fmt: skip
    row = with_cells(row, variables).with_columns(clinic_id=pl.lit(mapping.clinic_id))
    return row.with_columns(
        expression
        for item in variables if item.name in mapping.facts
        for expression in (
            pl.lit(as_type(pl.Series([mapping.facts[item.name]]), item).item(), item.dtype)
            .alias(item.name),
            pl.lit(mapping.facts[item.name]).alias(f"raw:{item.name}"),
        )
    )  # fmt: skip


def finished(rows: pl.DataFrame, variables: tuple[Variable, ...]) -> pl.DataFrame:
    """Give the canonical columns: address, variables, raw texts; null where never mapped."""
    absent = [item for item in variables if item.name not in rows.columns]
    nulls = [pl.lit(None, item.dtype).alias(item.name) for item in absent]
    nulls += [pl.lit(None, pl.String).alias(f"raw:{item.name}") for item in absent]
    return rows.with_columns(nulls).select(
        *(pl.col(name).cast(dtype) for name, dtype in ADDRESS.items()),
        *(pl.col(item.name).cast(item.dtype) for item in variables),
        *(pl.col(f"raw:{item.name}").alias(f"{RAW}{item.name}") for item in variables),
    )
