"""Numbers of a workbook as text: plain numbers, and the dates and times that are numbers too."""

import math
import re
from datetime import datetime, timedelta
from decimal import Decimal

# Formats that a workbook names by number only (Office Open XML, part 1, 18.8.30 numFmt).
BUILT_IN = (
    dict.fromkeys((14, 15, 16, 17, 22, *range(27, 32), *range(50, 59)), "date")
    | dict.fromkeys((18, 19, 20, 21, 32, 33, 34, 35, 45, 47), "time")
    | {36: "date", 46: "elapsed"}
)
_UNREAD = re.compile(r'"[^"]*"|\\.|_.|\*.|\[(?![hms]+\])[^\]]*\]', re.IGNORECASE)
_ELAPSED = re.compile(r"\[(h+|m+|s+)\]", re.IGNORECASE)
SECONDS = 86_400


def format_kind(code: str) -> str:
    """Tell what a number format shows: "date", "time", "elapsed", or "" for a number."""
    shown = _UNREAD.sub("", code.split(";")[0])
    if _ELAPSED.search(shown):
        return "elapsed"
    letters = set(shown.lower().replace("general", ""))
    if letters & {"d", "y"}:
        return "date"
    if letters & {"h", "s"}:
        return "time"
    return "date" if "m" in letters else ""


def number_text(written: str, kind: str, *, from_1904: bool) -> str:
    """Write a number of a workbook as text.

    A date comes as "2021-02-01 00:00:00", a time of day as "14:30:00", any other number in plain
    digits, at most 15 of them as a spreadsheet shows. What is no number, or no day of the
    calendar, stays as it stands in the file.
    """
    try:
        number = float(written)
    except ValueError:
        return written
    if not math.isfinite(number):
        return written
    if kind == "date" or (kind == "time" and number >= 1):
        return _date_text(number, from_1904=from_1904) or _plain(number)
    if kind and 0 <= number < 1_000_000:
        seconds = round(number * SECONDS)
        return f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"
    return _plain(number)


def _plain(number: float) -> str:
    if number == int(number) and abs(number) < 1e15:
        return str(int(number))
    return f"{Decimal(format(number, '.15g')):f}"


def _date_text(serial: float, *, from_1904: bool) -> str | None:
    """Count days as spreadsheets do, where 1900 has a 29 February."""
    if from_1904:
        start = datetime(1904, 1, 1)
    elif serial < 60:
        start = datetime(1899, 12, 31)
    else:
        start = datetime(1899, 12, 30)
    whole = math.floor(serial)
    if not 1 <= serial < 2_958_466 or (whole == 60 and not from_1904):
        return None
    moment = start + timedelta(days=whole, seconds=round((serial - whole) * SECONDS))
    return moment.strftime("%Y-%m-%d %H:%M:%S") if moment.year < 10_000 else None
