"""Write the list of all rules to docs/rules.md (run by `make rules`)."""

from collections.abc import Iterable
from pathlib import Path

from schemas.rules.every import RULES
from schemas.rules.patterns import PATTERNS
from schemas.rules.rule import Rule
from shared.files import write_text

PLACE = Path(__file__).resolve().parent.parent / "docs" / "rules.md"
HEAD = """# The rules

Made by `make rules` from `schemas/rules/`. What each action means stands in `schemas/README.md`.
Beside these, every variable of the codebook has its own checks: C01 its codes (of a category it is
the reading that asks, M01), C02 its limits,
C03 and C04 whether it must be filled, C05 its usual range.

| rule | action | judged rows | what the clinic reads | what it is asked | why | source |
|---|---|---|---|---|---|---|
"""
PATTERN_HEAD = """
## What the data themselves show

One question per clinic and variable, for the whole export; nothing is held. Not every clinic with
such a pattern made a mistake, so the thresholds are wide.

| pattern | when | what the clinic reads | what it is asked | why | source |
|---|---|---|---|---|---|
"""


def rule_list() -> str:
    """Give every rule and pattern as a Markdown page, in the order of their ids."""
    merged: dict[tuple[str, ...], list[str]] = {}
    for rule in sorted(RULES, key=lambda item: item.id):
        tables = merged.setdefault(_cells(rule), [])
        if rule.table not in tables:
            tables.append(rule.table)
    rules = [
        _line((cells[0], cells[1], ", ".join(tables), *cells[2:]))
        for cells, tables in merged.items()
    ]
    patterns = [
        _line((item.id, item.when, f"(variable): {item.says}", item.fix, item.why, item.source))
        for item in PATTERNS
    ]
    return HEAD + "".join(rules) + PATTERN_HEAD + "".join(patterns)


def _cells(rule: Rule) -> tuple[str, ...]:
    action = rule.action.replace("_", " ")
    return (rule.id, action, rule.says, rule.fix, rule.why, rule.source)


def _line(cells: Iterable[str]) -> str:
    return "| " + " | ".join(cell.replace("|", "/") for cell in cells) + " |\n"


if __name__ == "__main__":
    write_text(PLACE, rule_list())
