"""[[to_confirm]]: guesses of a drafted mapping that a person must settle before it may run."""

from dataclasses import dataclass

from pipeline.intake.section import Section
from shared.errors import MappingError

_BLOCK = "[[to_confirm]]"


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
    named = [
        (f"line {line}: " if line else "") + f"{block.what}: {block.guess}"
        for line, block in zip(lines, blocks, strict=False)
    ]
    raise MappingError(
        path,
        f"{len(blocks)} guesses wait for a person:\n  " + "\n  ".join(named),
        do=f"Check each in the file, mend the mapping where it is wrong, and delete its {_BLOCK} "
        "block.",
    )
