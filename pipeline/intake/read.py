"""Read a clinic's file as text, exactly as declared; nothing is guessed."""

from pathlib import Path

import fastexcel

from pipeline.intake.mapping import SourceFile
from pipeline.intake.sheet import Record, Sheet, lay_out
from pipeline.intake.text_file import decode, text_records
from shared.errors import InputFileError, nearest


def read_file(folder: Path, source: SourceFile) -> Sheet:
    """Read one declared file of a clinic's folder.

    Raises
    ------
    InputFileError
        If the file is missing, empty, not in the declared encoding, not in the declared
        dialect, or no workbook.
    """
    path = folder / source.path
    if not path.is_file():
        present = [item.name for item in sorted(folder.glob("*")) if item.is_file()]
        raise InputFileError(
            str(path),
            "the file is not there",
            do="Put it there or mend path in the mapping. "
            + (nearest(source.path, present) if present else "The folder holds no file."),
        )
    if path.stat().st_size == 0:
        raise InputFileError(
            str(path), "the file is empty", do="Ask the clinic to export it again."
        )
    if source.format == "xlsx":
        records, sheet = _workbook_records(path, source.sheet)
    else:
        records, sheet = text_records(decode(path, source.encoding), path, source), ""
    return lay_out(
        records, path=path, file=source.path, sheet=sheet, header_row=source.header_row,
        number_repeats=source.repeated_headers == "number",
    )  # fmt: skip


def _workbook_records(path: Path, sheet: str) -> tuple[list[Record], str]:
    """Read one sheet, each cell as text; a real date cell comes as "2021-02-01 00:00:00"."""
    try:
        workbook = fastexcel.read_excel(path)
        names = list(workbook.sheet_names)
        name = sheet or names[0]
        if name not in names:
            raise InputFileError(
                str(path),
                f'there is no sheet "{name}"',
                do="Mend sheet in the mapping. " + nearest(name, names),
            )
        frame = workbook.load_sheet(
            name, header_row=None, skip_rows=0, dtypes="string"
        ).to_polars()  # fmt: skip
    except (InputFileError, KeyboardInterrupt, SystemExit):
        raise
    except BaseException as error:  # the reader's own panics are no ordinary exceptions
        raise InputFileError(
            str(path),
            f"the workbook cannot be read ({type(error).__name__})",
            do="Open it in a spreadsheet program and save it again as .xlsx.",
        ) from None
    return list(frame.rows()), name
