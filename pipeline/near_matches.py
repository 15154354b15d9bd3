"""Rows that may be one animal under two codes: listed for a person, linked only as declared."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import polars as pl

from shared.errors import InputFileError, nearest
from shared.files import edited_rows

SAME, DIFFERENT, UNDECIDED = "same animal", "different animals", "to be decided"
DAYS = 3  # a day of admission and a day of surgery are easily taken for each other
Animal = tuple[str, str]  # clinic and its code


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """One line of same_animal.csv: what a person decided about two codes."""

    clinic: str
    local_animal: str
    other_clinic: str
    other_local_animal: str
    decision: str
    who: str
    when: str
    because: str

    @property
    def pair(self) -> frozenset[Animal]:
        """The two animals, in no order."""
        return frozenset(
            {(self.clinic, self.local_animal), (self.other_clinic, self.other_local_animal)}
        )


COLUMNS = tuple(item.name for item in fields(Decision))


def read_decisions(path: Path) -> tuple[Decision, ...]:
    """Read same_animal.csv; a study without one has decided nothing.

    Raises
    ------
    InputFileError
        If a column or decision is not known, a line names one animal twice or no reason, or two
        decisions contradict each other.
    """
    if not path.exists():
        return ()
    reader = edited_rows(path)
    header = list(reader.fieldnames or ())
    if sorted(header) != sorted(COLUMNS):
        raise InputFileError(f"{path}, row 1", "the columns are others than wanted",
                             do=f"The header is {','.join(COLUMNS)}.")  # fmt: skip
    read: list[Decision] = []
    for number, row in enumerate(reader, start=2):
        if None in row or None in row.values():
            raise InputFileError(f"{path}, row {number}", "it has more or fewer cells than wanted",
                                 do="Mend the row; put texts with a comma in quotes.")  # fmt: skip
        item = Decision(**{name: row[name].strip() for name in COLUMNS})
        _check(item, f"{path}, row {number}")
        read.append(item)
    _check_together(read, path)
    return tuple(read)


def with_declared(animals: pl.DataFrame, decisions: Sequence[Decision]) -> pl.DataFrame:
    """Give animals declared the same one common link token, with all that share theirs."""
    if not any(item.decision == SAME for item in decisions):
        return animals
    groups = _Groups()
    token_of = {(clinic, code): (token or "").strip() for clinic, code, token in
                animals.select("clinic_id", "local_animal", "link_token").rows()}  # fmt: skip
    for animal, token in token_of.items():
        if token:
            groups.join(animal, ("", token))
    declared: set[Animal] = set()
    for item in decisions:
        if item.decision == SAME and item.pair <= token_of.keys():
            groups.join(*sorted(item.pair))
            declared |= item.pair
    if not declared:
        return animals
    roots = {groups.root(animal) for animal in declared}
    common = {
        animal: "declared:" + ":".join(groups.root(animal))
        for animal in token_of if groups.root(animal) in roots
    }  # fmt: skip
    pairs = animals.select("clinic_id", "local_animal").rows()
    return animals.with_columns(
        link_token=pl.coalesce(
            pl.Series([common.get(pair) for pair in pairs], dtype=pl.String), "link_token"
        )
    )


def near_match_list(near: pl.DataFrame, decisions: Sequence[Decision]) -> pl.DataFrame:
    """Say of each pair where it stands, why it looks alike, and what was decided of it.

    Parameters
    ----------
    near
        Pairs as ``alike`` gives them.
    """
    decided = {item.pair: item for item in decisions}
    rows = [_told(row, decided) for row in near.iter_rows(named=True)]
    listed = {_pair(row) for row in near.iter_rows(named=True)}
    rows += [_declared(item) for item in decisions if item.pair not in listed]
    frame = pl.DataFrame(rows, schema=LIST_SCHEMA, orient="row")
    return frame.sort("clinic", "local_animal", "side", "other_clinic", "other_local_animal", "row")


LIST_SCHEMA: Mapping[str, pl.DataType] = {
    "clinic": pl.String(), "local_animal": pl.String(), "side": pl.String(),
    "file": pl.String(), "sheet": pl.String(), "row": pl.Int64(),
    "other_clinic": pl.String(), "other_local_animal": pl.String(),
    "other_file": pl.String(), "other_sheet": pl.String(), "other_row": pl.Int64(),
    "why": pl.String(), "decision": pl.String(), "who": pl.String(), "when": pl.String(),
}  # fmt: skip


def _pair(row: Mapping[str, Any]) -> frozenset[Animal]:
    one = (row["clinic_id"], row["local_animal"])
    return frozenset({one, (row["other_clinic_id"], row["other_local_animal"])})


def _told(row: Mapping[str, Any], decided: Mapping[frozenset[Animal], Decision]
          ) -> dict[str, Any]:  # fmt: skip
    made = decided.get(_pair(row))
    places = {name: row[name] for name in LIST_SCHEMA if name in row}
    return places | {
        "clinic": row["clinic_id"], "other_clinic": row["other_clinic_id"], "why": _why(row),
        "decision": made.decision if made else UNDECIDED,
        "who": made.who if made else "", "when": made.when if made else "",
    }  # fmt: skip


def _declared(item: Decision) -> dict[str, Any]:
    """Keep a decision in sight that no pair of the list belongs to: linked by it, or not sent."""
    return {
        "clinic": item.clinic, "local_animal": item.local_animal,
        "other_clinic": item.other_clinic, "other_local_animal": item.other_local_animal,
        "why": "declared in same_animal.csv", "decision": item.decision, "who": item.who,
        "when": item.when,
    }  # fmt: skip


def _why(row: Mapping[str, Any]) -> str:
    """Say in what the two rows agree, and how closely."""
    said = [f"same species, breed ({row['breed']}), sex and side"]
    if row["sex_neuter"] != row["other_sex_neuter"]:
        said.append("one neutered")
    days = abs((row["surgery_date"] - row["other_surgery_date"]).days)
    said.append("operated the same day" if not days else f"operated {days} days apart")
    for name, unit in (("age_months", "months"), ("weight_kg", "kg")):
        one, two = row[name], row[f"other_{name}"]
        told = f"{one:.4g} and {two:.4g} {unit}" if one is not None and two is not None else ""
        said.append(told or f"{name.partition('_')[0]} of one not known")
    return "; ".join(said)


class _Groups:
    """Which animals and tokens belong together."""

    def __init__(self) -> None:
        self._above: dict[Animal, Animal] = {}

    def root(self, item: Animal) -> Animal:
        """Give the first of the group in order of names."""
        while (above := self._above.get(item, item)) != item:
            item = above
        return item

    def join(self, one: Animal, two: Animal) -> None:
        """Make one group of two; an animal comes before a token."""
        first, second = sorted(
            (self.root(one), self.root(two)), key=lambda name: (not name[0], name)
        )
        self._above[second] = first


def _check(item: Decision, where: str) -> None:
    if item.decision not in (SAME, DIFFERENT):
        raise InputFileError(where, f'the decision "{item.decision}" is not known',
                             do=nearest(item.decision, (SAME, DIFFERENT)))  # fmt: skip
    if len(item.pair) == 1:
        raise InputFileError(where, "it names one animal twice", do="Name two animals.")
    for name in ("who", "when", "because"):
        if not getattr(item, name):
            raise InputFileError(where, f'"{name}" is empty',
                                 do="Say who decided, when, and because of what.")  # fmt: skip


def _check_together(decisions: Sequence[Decision], path: Path) -> None:
    """Refuse to tell animals apart that other lines make one."""
    groups = _Groups()
    for item in decisions:
        if item.decision == SAME:
            groups.join(*sorted(item.pair))
    for number, item in enumerate(decisions, start=2):
        one, two = sorted(item.pair)
        if item.decision == DIFFERENT and groups.root(one) == groups.root(two):
            raise InputFileError(
                f"{path}, row {number}", "another line says that the two are one animal",
                do="Take out the line that is wrong.",
            )  # fmt: skip
