"""Read a clinic's file in a process of its own, so that no file can harm or exhaust this one.

Where the operating system can (Linux; macOS all but memory), it holds the limits of memory and
time over that process. On Windows the clock, the size of the answer and the readers' own counts
(limits.py) hold. Whatever ends the process, the user reads one sentence that names the file.
"""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from threading import Timer
from typing import IO, Any

from pipeline.intake.limits import MEGABYTE, Limits
from shared.errors import InputFileError

ROOT = Path(__file__).resolve().parents[2]
# Isolated: neither the user's environment nor the folder he stands in can add code.
START = "import sys; sys.path.insert(0, {root!r}); from pipeline.intake.child import main; main()"
DO = (
    "Open it in a spreadsheet program, delete what does not belong to the table, and save it as "
    "CSV; or ask the clinic for a smaller export."
)


def read_behind_walls(
    handle: IO[bytes], request: Mapping[str, str], limits: Limits
) -> tuple[dict[str, Any], bytes]:
    """Have another process read an open file.

    Parameters
    ----------
    handle
        The file, open for reading; the other process can open nothing else by name from it.
    request
        where (for messages), format, archive, member, sheet.

    Returns
    -------
    tuple of dict and bytes
        What kind of answer it is, and the answer.

    Raises
    ------
    InputFileError
        If the file was refused, or the process ended by a limit or a fault of the reader.
    """
    where = request["where"]
    head, content, code, late = _run(handle, {**request, "limits": asdict(limits)}, limits)
    if late:
        raise _over(where, f"took longer than {limits.wall_seconds:g} seconds")
    if len(head) + len(content) > limits.answer_mb * MEGABYTE:
        raise _over(where, f"unfolds to more than {limits.answer_mb} MB of text")
    if code == -getattr(signal, "SIGXCPU", 0) and code:
        raise _over(where, f"took more than {limits.cpu_seconds} seconds of computing")
    try:
        answer = json.loads(head) if code == 0 else {"over": "reader"}
    except ValueError:
        answer = {"over": "reader"}
    if "refused" in answer:
        named, what, do = answer["refused"]
        raise InputFileError(named, what, do=do)
    if answer.get("over") == "memory":
        raise _over(where, f"took more than {limits.memory_mb} MB of memory")
    if "over" in answer:
        raise _over(where, f"ended the reading program ({_ended(code)})")
    return answer, content


def _run(
    handle: IO[bytes], request: Mapping[str, Any], limits: Limits
) -> tuple[bytes, bytes, int, bool]:
    """Start the process, take its answer up to the limit, and see it end."""
    command = [sys.executable, "-I", "-B", "-c", START.format(root=str(ROOT)), json.dumps(request)]
    late: list[bool] = []
    handle.seek(0)
    with subprocess.Popen(
        command, stdin=handle, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        env=os.environ | {"POLARS_MAX_THREADS": "1"}, cwd=ROOT,
    ) as process:  # fmt: skip

        def stop() -> None:
            late.append(True)
            process.kill()

        clock = Timer(limits.wall_seconds, stop)
        clock.start()
        try:
            assert process.stdout is not None
            head = process.stdout.readline(MEGABYTE)
            content = process.stdout.read(limits.answer_mb * MEGABYTE + 1)
            if len(content) <= limits.answer_mb * MEGABYTE:
                process.wait()
        finally:
            clock.cancel()
            process.kill()  # one that has not ended by itself
        return head, content, process.wait(), bool(late)


def _ended(code: int) -> str:
    try:
        return signal.Signals(-code).name if code < 0 else f"code {code}"
    except ValueError:
        return f"code {code}"


def _over(where: str, what: str) -> InputFileError:
    return InputFileError(where, f"reading it {what}", do=DO)
