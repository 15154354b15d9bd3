"""What a rule is: data that says when a row breaks it, what follows, and what the clinic reads."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import polars as pl

from schemas.findings import Action

Frames = Mapping[str, pl.DataFrame]
# A rule within a row is an expression; a rule across rows or tables is a small function that
# gives the rows that break it: a frame with row_id and, where it helps, a sentence in `detail`.
Broken = pl.Expr | Callable[[Frames], pl.DataFrame]

KEY_IN_WORDS: Mapping[str, tuple[str, ...]] = {
    "clinics": ("clinic_id",),
    "animals": ("local_animal",),
    "stifles": ("local_animal", "side"),
    "procedures": ("local_animal", "side"),
    "implants": ("local_animal", "side", "implant_no"),
    "rechecks": ("local_animal", "side", "recheck_day"),
    "complications": ("local_animal", "side", "complication_no"),
    "revisions": ("local_animal", "side", "revision_no"),
    "measurements": ("local_animal", "side", "image_id"),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rule:
    """One consistency rule of one table; several tables make several rules of one id.

    Attributes
    ----------
    tables
        The table whose rows are judged first, then those it is compared with.
    broken
        True where the row *breaks* the rule; a null never fires. Columns of the row's own
        table stand under their names, those of its stifle, animal, clinic or procedure as
        ``stifles.weight_kg`` (see ``schemas.rules.joined``).
    shows
        Variables the clinic is shown; the first is the cell that is asked about.
    holds
        What is unknown until answered: variables of the row, or outcome:reluxation,
        outcome:implant, outcome:all of its stifle; ``procedures.x`` for that of its operation.
    once
        "file" or "clinic" where one question is asked for all rows of it; "" for one a row.
    """

    id: str
    action: Action
    tables: tuple[str, ...]
    broken: Broken
    shows: tuple[str, ...]
    says: str
    fix: str
    why: str
    source: str
    holds: tuple[str, ...] = ()
    once: str = ""

    @property
    def table(self) -> str:
        """The table whose rows are judged."""
        return self.tables[0]

    @property
    def key(self) -> tuple[str, ...]:
        """The columns that name the row in words a clinic uses."""
        return KEY_IN_WORDS[self.table]
