"""The reading process: one file comes in as its standard input, its cells go out as text.

It is started by walls.py, apart from the Python settings of the user, sets its limits before it
looks at the file, opens no other, and writes nothing but its answer: a line of JSON, then content.
"""

import io
import json
import sys
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict
from typing import IO, Any

from pipeline.intake.archive import read_gzip, read_member
from pipeline.intake.grid import Grid
from pipeline.intake.json_lines import read_json_lines
from pipeline.intake.limits import MEGABYTE, Limits
from pipeline.intake.opendocument import read_opendocument
from pipeline.intake.workbook import read_workbook
from shared.errors import InputFileError

Answer = tuple[Mapping[str, Any], bytes]


def main() -> None:
    """Read one file as the request in the first argument says."""
    request = json.loads(sys.argv[1])
    limits = Limits(**request["limits"])
    set_limits(limits)
    try:
        head, content = _answer(sys.stdin.buffer, request, limits)
    except InputFileError as error:
        head, content = {"refused": [error.where, error.what, error.do]}, b""
    except MemoryError:
        head, content = {"over": "memory"}, b""
    sys.stdout.buffer.write(json.dumps(head).encode() + b"\n")
    sys.stdout.buffer.write(content)
    sys.stdout.buffer.flush()


def set_limits(limits: Limits) -> None:
    """Have the operating system hold the limits, as far as this one can."""
    try:
        import resource
    except ImportError:  # Windows: the parent's clock and the readers' own counts must do
        return
    memory, seconds = limits.memory_mb * MEGABYTE, limits.cpu_seconds
    wanted = (
        (resource.RLIMIT_AS, (memory, memory)),
        (resource.RLIMIT_CPU, (seconds, seconds + 1)),  # the first ends it, and says why
        (resource.RLIMIT_FSIZE, (0, 0)),
        (resource.RLIMIT_CORE, (0, 0)),
    )
    for kind, values in wanted:
        with suppress(ValueError, OSError):  # macOS knows no limit of memory
            resource.setrlimit(kind, values)


def _answer(handle: IO[bytes], request: Mapping[str, Any], limits: Limits) -> Answer:
    where, members = request["where"], ()
    if request["archive"] == "gzip":
        handle = io.BytesIO(read_gzip(handle, where, limits))
    elif request["archive"] == "zip":
        content, members = read_member(handle, request["member"], where, limits)
        handle = io.BytesIO(content)
    if request["format"] == "text":
        return {"kind": "text", "members": members}, handle.read()
    if request["format"] == "parquet":
        from pipeline.intake.parquet_file import read_parquet  # takes a quarter of a second

        content = read_parquet(handle, where=where, limits=limits)
        return {"kind": "table", "members": members}, content
    grid = asdict(_grid(handle, request, limits))
    return {"kind": "grid", "members": members}, json.dumps(grid, ensure_ascii=False).encode()


def _grid(handle: IO[bytes], request: Mapping[str, Any], limits: Limits) -> Grid:
    where = request["where"]
    if request["format"] == "jsonl":
        return read_json_lines(handle, where=where, limits=limits)
    if request["format"] == "ods":
        return read_opendocument(handle, request["sheet"], where=where, limits=limits)
    return read_workbook(handle, request["sheet"], where=where, limits=limits)
