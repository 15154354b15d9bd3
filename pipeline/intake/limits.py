"""What one file of a clinic may cost to read; more than that is refused, whatever it holds."""

from dataclasses import dataclass

MEGABYTE = 1 << 20
MOST_CELL_CHARACTERS = 1 << 20  # a spreadsheet program allows 32,767
SMALL_PART_MB = 16  # below this, no ratio of packed to unpacked is alarming
MOST_BLANK_ROWS = 10_000  # between two filled rows of a workbook


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Limits of one file.

    Attributes
    ----------
    memory_mb, cpu_seconds
        Held by the operating system over the reading process, where it can (not on Windows;
        macOS holds the time only).
    wall_seconds, answer_mb
        Held from outside everywhere: time on the clock, and what the reader hands over.
    unpacked_mb, ratio
        Held by the reader over archives, which workbooks are: size of all parts when unpacked,
        and how many times larger than packed one part may be.
    cells, columns
        Held by the reader over workbooks, OpenDocument, Parquet and JSON lines.
    text_mb
        Size of a text file, which is read as it stands.
    """

    memory_mb: int = 2048
    cpu_seconds: int = 120
    wall_seconds: float = 300.0
    answer_mb: int = 1024
    unpacked_mb: int = 2048
    ratio: int = 200
    cells: int = 20_000_000
    columns: int = 4_000
    text_mb: int = 4096
