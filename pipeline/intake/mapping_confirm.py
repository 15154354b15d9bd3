"""[[to_confirm]]: guesses of a drafted mapping that a person must settle before it may run."""

from dataclasses import dataclass

from pipeline.intake.section import Section
from shared.errors import MappingError

_BLOCK = "[[to_confirm]]"
_MOST = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class ToConfirm:
    """One guess: what it is about, what was guessed, why, and what to do about it."""

    what: str
    guess: str
    evidence: str
    do: str


def read_to_confirm(part: Section) -> ToConfirm:
    """Read one [[to_confirm]] block."""
    block = ToConfirm(
        what=part.need("what", str, '"Order of day and month"'),
        guess=part.take("guess", str, ""),
        evidence=part.take("evidence", str, ""),
        do=part.take("do", str, ""),
    )
    part.done()
    return block


def refuse_unconfirmed(blocks: tuple[ToConfirm, ...], text: str, path: str) -> None:
    """Refuse a mapping in which a guess still waits for a person.

    Raises
    ------
    MappingError
        If there is a block; every one is named with its line in the file.
    """
    if not blocks:
        return
    lines = [number for number, line in enumerate(text.splitlines(), start=1)
             if line.split("#")[0].replace(" ", "").strip() == _BLOCK]  # fmt: skip
    lines += [0] * (len(blocks) - len(lines))  # written inline: no line of its own
    raise MappingError(
        path,
        f"{len(blocks)} guesses wait for a person:", lines=_named(blocks, lines),
        do=f"Check each in the file, mend the mapping where it is wrong, and delete its {_BLOCK} "
        "block.",
    )  # fmt: skip


def _named(blocks: tuple[ToConfirm, ...], lines: list[int]) -> list[str]:
    """Name one guess a line, those of one table ("rechecks of visits: side") together."""
    groups: dict[str, list[str]] = {}
    for line, block in list(zip(lines, blocks, strict=False))[:_MOST]:
        title, mark, what = block.what.partition(": ")
        said = block.guess or block.evidence
        told = f"{what}: {said}" if mark else said
        groups.setdefault(title, []).append((f"line {line}: " if line else "") + told)
    shown = [text for title, items in groups.items()
             for text in (f"  {title}", *(f"    {item}" for item in items))]  # fmt: skip
    return [*shown, f"  and {len(blocks) - _MOST} more"] if len(blocks) > _MOST else shown
