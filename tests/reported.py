"""What tests say at the end of a run: lines to print and numbers to count.

Tests may run in several processes; each hands over what it has, and the last lines of the run are
written once.
"""

from collections import Counter
from typing import Any

LINES: list[str] = []  # printed as they are, in the order of their text
PRINTED_NUMBERS: Counter[str] = Counter()  # comparisons with printed numbers, by source
ASKED_OF_R: set[tuple[str, str, str]] = set()  # script, group, quantity


def handed_over() -> dict[str, Any]:
    """What this process has, as plain values."""
    return {
        "lines": LINES,
        "numbers": dict(PRINTED_NUMBERS),
        "asked": [list(item) for item in sorted(ASKED_OF_R)],
    }


def take_over(given: dict[str, Any]) -> None:
    """Add what another process had."""
    LINES.extend(given["lines"])
    PRINTED_NUMBERS.update(given["numbers"])
    ASKED_OF_R.update((script, group, quantity) for script, group, quantity in given["asked"])


def last_lines() -> list[str]:
    """Lines to print below the tests."""
    counts = [f"{source} {count}" for source, count in sorted(PRINTED_NUMBERS.items())]
    of_r = Counter(script for script, *_ in ASKED_OF_R)
    counts += [f"{script}.R {count}" for script, count in sorted(of_r.items())]
    numbers = ["numbers compared in tests/analysis: " + ", ".join(counts)] if counts else []
    return [*sorted(LINES), *numbers]
