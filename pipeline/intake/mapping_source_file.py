"""Read one [[file]] of a mapping: a file or sheet of the export, and rows to set aside."""

from pathlib import Path

from pipeline.intake.mapping import SetAside, SourceFile
from pipeline.intake.mapping_words import read_condition
from pipeline.intake.section import Section
from shared.errors import MappingError

FORMATS = ("text", "xlsx")


def read_source_file(part: Section) -> SourceFile:
    """Read one [[file]] block.

    Raises
    ------
    MappingError
        If a key is unknown, or the dialect it declares cannot exist.
    """
    path = part.need("path", str, '"stifles.csv"')
    workbook = path.lower().endswith((".xlsx", ".xlsm"))
    file = SourceFile(
        path=path,
        name=part.take("name", str, Path(path).stem),
        format=part.one_of("format", FORMATS, "xlsx" if workbook else "text"),
        encoding=part.take("encoding", str, "utf-8"),
        delimiter=part.take("delimiter", str, ","),
        quote=part.take("quote", str, '"'),
        sheet=part.take("sheet", str, ""),
        header_row=part.take("header_row", int, 1),
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
    if len(file.delimiter) != 1 or len(file.quote) > 1 or file.header_row < 1:
        raise MappingError(
            where,
            "delimiter is one character, quote one or none, header_row 1 or more",
            do='Write, for example, delimiter = ";", quote = \'"\', header_row = 1.',
        )


def _set_aside(part: Section) -> SetAside:
    reason = part.need("reason", str, '"totals row"')
    nested = part.sections("when")
    condition = () if nested else (read_condition(part),)
    part.done()
    return SetAside(when=condition or tuple(read_condition(item) for item in nested), reason=reason)
