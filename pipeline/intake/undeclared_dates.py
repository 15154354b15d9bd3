"""A column of dates that is mapped as a number of days: told once, not asked row by row."""

from collections.abc import Mapping

import polars as pl

from pipeline.intake import grammar as read
from pipeline.intake.mapping import TableMapping
from pipeline.intake.sources import Grammar
from schemas.codebook import Variable
from shared.errors import MappingError

NO_NUMBER = "M02"


def refuse_undeclared_dates(
    made: pl.DataFrame, table: TableMapping, *, variables: Mapping[str, Variable],
    grammar: Grammar, where: str,
) -> None:  # fmt: skip
    """Refuse a day whose cells are mostly dates as this clinic writes them, without `as`.

    Raises
    ------
    MappingError
        Naming the column, the number of dates, and the line to write.
    """
    for name, sources in table.columns.items():
        if variables[name].unit != "day" or any(item.reads or item.codes for item in sources):
            continue
        doubted = made.filter(pl.col(f"rule:{name}") == NO_NUMBER)
        filled = made.select(pl.col(f"raw:{name}", f"miss:{name}")).filter(
            pl.col(f"raw:{name}").is_not_null() & pl.col(f"miss:{name}").is_null()
        ).height  # fmt: skip
        if 2 * doubted.height <= filled:
            continue
        text = doubted.select(read.tidy(pl.col(f"raw:{name}"))).to_series()
        dates = read.read_dates(text, grammar, grammar.date_formats).count()
        if 2 * dates > filled:
            column = doubted[f"col:{name}"][0]
            raise MappingError(
                f"{where}, {', '.join(table.tables)}, {name}",
                f'{dates} of {filled} cells of column "{column}" are dates, not numbers of days',
                do=f'Write {name} = {{ column = "{column}", as = "date" }}; days are then counted.',
            )
