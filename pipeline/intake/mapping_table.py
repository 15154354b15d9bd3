"""[[table]] of a mapping file -> TableMapping."""

from collections.abc import Iterable, Mapping

from pipeline.intake.mapping import MADE_TABLES, Block, Pieces, TableMapping
from pipeline.intake.mapping_lists import read_settings, read_word_list
from pipeline.intake.mapping_source import read_sources
from pipeline.intake.mapping_words import checked_pattern, read_conditions
from pipeline.intake.section import Section, as_text_table, known
from schemas.codebook import Variable, by_name
from shared.errors import MappingError

KEY_COLUMNS = ("local_animal", "local_stifle", "side")


def read_table(
    part: Section,
    codebook: tuple[Variable, ...],
    *,
    files: Iterable[str],
    code_lists: Section,
) -> TableMapping:
    """Read one [[table]]: which canonical rows are made, from where, and how."""
    makes, fills = part.texts("make"), part.texts("fills")
    if bool(makes) == bool(fills):
        raise MappingError(
            part.where, 'one of the keys "make" and "fills" is wanted', do='Add make = ["stifles"].'
        )
    tables = tuple(known(name, MADE_TABLES, part.where) for name in makes or fills)
    variables = _variables(codebook, tables)
    columns = part.section("columns")
    lists = tuple(read_word_list(item, variables) for item in part.sections("list"))
    table = TableMapping(
        tables=tables,
        source=known(part.need("from", str, '"stifles"'), files, f"{part.where}, from"),
        fills=bool(fills),
        where=read_conditions(part.sections("where")),
        blocks=tuple(block for item in part.sections("block") for block in _blocks(item, variables))
        or (Block(),),
        pieces=_pieces(part.section("pieces")) if "pieces" in part.content else None,
        columns={
            name: read_sources(columns, name, variables, code_lists) for name in columns.content
        },
        lists=lists,
    )
    part.done()
    _check_table(table, part.where)
    return table


def _check_table(table: TableMapping, where: str) -> None:
    """Refuse a [[table]] that cannot say which stifle it is about, or that says a thing twice."""
    in_lists = [name for words in table.lists for name in words.variables]
    for block in table.blocks:
        named = {*table.columns, *block.values, *in_lists}
        wanted = ["local_animal"] if "local_stifle" not in named else []
        wanted += ["surgery_date"] if "stifles" in table.tables and not table.fills else []
        for name in wanted:
            if name not in named:
                raise MappingError(
                    f"{where}, columns", f"{name} is not mapped", do=f'Add {name} = "…".'
                )
        twice = [name for name in in_lists if name in {*table.columns, *block.values}]
        if twice or len(set(in_lists)) < len(in_lists):
            name = (twice or [name for name in in_lists if in_lists.count(name) > 1])[0]
            raise MappingError(where, f"{name} is mapped twice", do="Keep one of the two.")
        for source in (one for sources in table.columns.values() for one in sources):
            for name in (*source.only_if, *filter(None, [source.when_filled])):
                if name not in named:
                    raise MappingError(
                        f"{where}, columns", f"{name} is asked for but not mapped",
                        do=f'Add {name} = "…".',
                    )  # fmt: skip


def _variables(codebook: tuple[Variable, ...], tables: Iterable[str]) -> dict[str, Variable]:
    """Give the variables of the made tables, and the keys that every table may read."""
    own = by_name(item for item in codebook if item.table in tables)
    keys = by_name(
        item for item in codebook if item.name in KEY_COLUMNS and item.table == "stifles"
    )
    return own | {name: item for name, item in keys.items() if name not in own}


def _blocks(part: Section, variables: Mapping[str, Variable]) -> list[Block]:
    """Read one block; with `repeat` it stands for as many, "{n}" being 1, 2, …."""
    words, values = part.section("words"), part.section("values")
    name = part.need("name", str, '"left"')
    repeat = part.take("repeat", int, 0)
    texts = as_text_table(words.content, words.where)
    settings, present = read_settings(values, variables), part.texts("present")
    part.done()
    if not repeat:
        return [Block(name=name, words=texts, values=settings, present=present)]
    return [
        Block(name=name.replace("{n}", str(n)), words=texts | {"n": str(n), "nn": f"{n:02}"},
              values=settings, present=present)
        for n in range(1, repeat + 1)
    ]  # fmt: skip


def _pieces(part: Section) -> Pieces:
    pieces = Pieces(
        column=part.need("column", str, '"Complications"'),
        separator=part.take("separator", str, ""),
        pattern=checked_pattern(part.take("pattern", str, ""), part.where),
    )
    part.done()
    return pieces
