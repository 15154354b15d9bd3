"""Read one [[file]] of a mapping: a file or sheet of the export, and rows to set aside."""

from pathlib import Path

from pipeline.intake.mapping import TYPED_FORMATS, SetAside, SourceFile
from pipeline.intake.mapping_words import read_condition, read_conditions
from pipeline.intake.section import Section
from shared.errors import MappingError

FORMATS = ("text", *TYPED_FORMATS)
SUFFIXES = {
    ".xlsx": "xlsx", ".xlsm": "xlsx", ".ods": "ods", ".parquet": "parquet", ".jsonl": "jsonl",
    ".ndjson": "jsonl",
}  # fmt: skip


def read_source_file(part: Section) -> SourceFile:
    """Read one [[file]] block.

    Raises
    ------
    MappingError
        If a key is unknown, or the dialect it declares cannot exist.
    """
    path = part.need("path", str, '"stifles.csv"')
    member = part.take("member", str, "")
    named = Path((member or path).lower().removesuffix(".gz"))
    file = SourceFile(
        path=path,
        name=part.take("name", str, Path(path).stem),
        format=part.one_of("format", FORMATS, SUFFIXES.get(named.suffix, "text")),
        member=member,
        encoding=part.take("encoding", str, "utf-8"),
        delimiter=part.take("delimiter", str, ","),
        quote=part.take("quote", str, '"'),
        sheet=part.take("sheet", str, ""),
        header_row=part.take("header_row", int, 1),
        header_rows=part.take("header_rows", int, 1),
        header_fill=part.take("header_fill", bool, False),
        hidden_rows=part.one_of("hidden_rows", ("refuse", "read", "set_aside"), "refuse"),
        hidden_columns=part.one_of("hidden_columns", ("refuse", "read", "ignore"), "refuse"),
        merged_cells=part.one_of("merged_cells", ("refuse", "first", "fill"), "refuse"),
        ignore_others=part.texts("ignore_others"),
        repeated_headers=part.one_of("repeated_headers", ("refuse", "number"), "refuse"),
        ignore=part.texts("ignore"),
        set_aside=tuple(_set_aside(item) for item in part.sections("set_aside")),
    )
    part.done()
    _check_dialect(file, part.where)
    return file


def _check_dialect(file: SourceFile, where: str) -> None:
    try:
        "".encode(file.encoding)
    except LookupError:
        raise MappingError(
            f"{where}, encoding",
            f'the encoding "{file.encoding}" does not exist',
            do='Write "utf-8", "cp1252", "latin-1" or "utf-16".',
        ) from None
    rows = min(file.header_row, file.header_rows)
    if len(file.delimiter) != 1 or len(file.quote) > 1 or rows < 1 or file.header_rows > 9:
        raise MappingError(
            where,
            "delimiter is one character, quote one or none, header_row 1 or more, "
            "header_rows 1 to 9",
            do='Write, for example, delimiter = ";", quote = \'"\', header_row = 1.',
        )


def _set_aside(part: Section) -> SetAside:
    reason = part.need("reason", str, '"totals row"')
    nested = part.sections("when")
    condition = () if nested else (read_condition(part),)
    part.done()
    return SetAside(when=condition or read_conditions(nested), reason=reason)
