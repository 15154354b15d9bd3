"""The second computation of links: animals over clinics, operations over joints."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

import polars as pl

from tests.pipeline.second_joint import Joint, Row

Key = tuple[str, str]
Operation = tuple[str, str, int | None]  # clinic, kind, day
DAYS = {"rechecks": ("recheck_day",), "complications": ("detected_day", "last_negative_day")}


def second_linked(
    tables: Mapping[str, pl.DataFrame], holds: pl.DataFrame, windows: Mapping[str, int]
) -> tuple[dict[str, Joint], list[Operation], dict[str, str]]:
    """Give the joints by stifle id, every operation once, and each stifle's animal."""
    rows = {name: list(frame.iter_rows(named=True)) for name, frame in tables.items()}
    clinics = {row["clinic_id"]: row for row in rows["clinics"]}
    animals = {(row["clinic_id"], row["local_animal"]): row for row in rows["animals"]}
    procedures = {_key(row): row for row in rows["procedures"]}
    ids = _animal_ids(rows["animals"])
    groups: dict[str, list[Row]] = defaultdict(list)
    animal_of: dict[str, str] = {}
    for row in rows["stifles"]:
        animal = ids[row["clinic_id"], row["local_animal"]]
        groups[f"{animal}:{row['side']}"].append(row)
        animal_of[f"{animal}:{row['side']}"] = animal
    joints: dict[str, Joint] = {}
    operations: list[Operation] = []
    place: dict[Key, tuple[str, int | None, bool]] = {}
    later: dict[str, list[Row]] = defaultdict(list)
    for name, group in groups.items():
        index, told = _ordered(group, procedures, clinics)
        joint = Joint(
            index, animals[index["clinic_id"], index["local_animal"]], clinics[index["clinic_id"]]
        )
        joint.procedure = procedures.get(_key(index), {})
        _last_known(joint, told)
        joints[name] = joint
        for row, kind, day in told:
            place[_key(row)] = (name, day, kind == "index")
            if kind in ("index", "earlier"):
                operations.append((row["clinic_id"], kind, day))
            if kind == "revision":
                later[name].append(_sent_as_new(row, index, procedures.get(_key(row), {}), day))
            if day is None:
                joint.held.add("outcome:all")
    _place_children(joints, place, rows, later, windows)
    for name, revisions in later.items():
        joints[name].revisions = _one_a_day(revisions)
        operations += [
            (row["clinic_id"], "revision", row["revision_day"]) for row in joints[name].revisions
        ]
    _hold(joints, holds, place, rows, ids, animal_of)
    _causes_of_death(joints, animal_of, rows["animals"], ids)
    for joint in joints.values():
        joint.locked()
    return joints, operations, animal_of


def _key(row: Row) -> Key:
    return row["clinic_id"], row["local_stifle"]


def _token(row: Row) -> str:
    return (row["link_token"] or "").strip(" ")


def _animal_ids(animals: Iterable[Row]) -> dict[Key, str]:
    """The first code, in order of names, of those with one link token; without one the own."""
    codes: dict[Any, list[str]] = defaultdict(list)
    for row in animals:
        own = f"{row['clinic_id']}:{row['local_animal']}"
        codes[_token(row) or (own,)].append(own)
    return {
        (row["clinic_id"], row["local_animal"]): min(
            codes[_token(row) or (f"{row['clinic_id']}:{row['local_animal']}",)]
        )
        for row in animals
    }


def _patellar(done: Row) -> bool:
    """Something was done for the patella; false only where all of it is recorded as not done."""
    return not (
        done.get("sulcoplasty_type") == "none"
        and done.get("ttt_done") is False
        and done.get("femoral_osteotomy") == "none"
        and done.get("medial_release") in (None, "none")
        and not done.get("lateral_imbrication")
        and not done.get("antirotational_suture")
    )


def _ordered(
    group: list[Row], procedures: Mapping[Key, Row], clinics: Mapping[str, Row]
) -> tuple[Row, list[tuple[Row, str, int | None]]]:
    """Find the index operation of a joint, and say what each row is for it."""

    def when(row: Row) -> tuple[int, Any]:
        return row["surgery_year"] or row["surgery_date"].year, row["surgery_date"]

    def order(row: Row) -> tuple[object, ...]:
        return not _patellar(procedures.get(_key(row), {})), *when(row), *_key(row)

    index = min(group, key=order)
    mixed = len({bool(clinics[row["clinic_id"]]["dates_shifted"]) for row in group}) > 1
    told: list[tuple[Row, str, int | None]] = []
    for row in group:
        if row is index:
            told.append((row, "index", 0))
            continue
        day = None if mixed else (row["surgery_date"] - index["surgery_date"]).days
        kind = "earlier" if when(row) < when(index) else "revision"
        told.append((row, "reported_twice" if day == 0 else kind, day))
    return index, told


def _last_known(joint: Joint, told: list[tuple[Row, str, int | None]]) -> None:
    known = [
        (day + row["end_of_followup_day"], row["end_status"] or "")
        for row, _, day in told
        if day is not None and row["end_of_followup_day"] is not None
    ]
    joint.end_day = max((day for day, _ in known), default=None)
    named = [item for item in known if item[1]]
    if named:
        joint.end_status = max(named)[1]


def _sent_as_new(row: Row, index: Row, done: Row, day: int | None) -> Row:
    """A later row of a joint is a revision, whatever the clinic called it."""
    ways = (row["luxation_direction"], index["luxation_direction"])
    if not _patellar(done):
        other = done.get("cruciate_procedure") not in (None, "none")
        reason = "cruciate_rupture_later" if other else "other"
    elif set(ways) == {"medial", "lateral"}:
        reason = "opposite_luxation"
    else:
        reason = "reluxation"
    return {
        "revision_day": day,
        "revision_reason": reason,
        "row_id": row["row_id"],
        "clinic_id": row["clinic_id"],
        "window": None,
        "place": 1,
    }


def _one_a_day(revisions: list[Row]) -> list[Row]:
    """Two reports of a day are one operation, told by the revisions table first."""
    days: dict[int | None, list[Row]] = defaultdict(list)
    for row in revisions:
        days[row["revision_day"]].append(row)
    made: list[Row] = []
    for rows in days.values():
        rows.sort(key=lambda row: (row["place"], row["row_id"]))
        reasons = [row["revision_reason"] for row in rows if row["revision_reason"]]
        planned = [row["window"] for row in rows if row["window"] is not None]
        window = min(planned) if len(planned) == len(rows) else 0
        made.append(rows[0] | {"revision_reason": next(iter(reasons), None), "window": window})
    return made


def _place_children(
    joints: Mapping[str, Joint],
    place: Mapping[Key, tuple[str, int | None, bool]],
    rows: Mapping[str, list[Row]],
    later: dict[str, list[Row]],
    windows: Mapping[str, int],
) -> None:
    """Count days from the index operation; what cannot be dated or came before it is left out."""
    for table, days in (*DAYS.items(), ("revisions", ("revision_day",))):
        for row in rows[table]:
            name, offset, _ = place.get(_key(row), ("", None, False))
            if offset is None:
                continue
            moved = row | {day: row[day] + offset for day in days if row[day] is not None}
            if moved[days[0]] is not None and moved[days[0]] < 0:
                continue
            if (moved.get("last_negative_day") or 0) < 0:
                moved["last_negative_day"] = None
            if table == "revisions":
                later[name].append(moved | {"window": windows.get(row["row_id"]), "place": 0})
            else:
                getattr(joints[name], table).append(moved)
    for row in rows["implants"]:
        name, _, is_index = place.get(_key(row), ("", None, False))
        if is_index:
            joints[name].implants.append(row)


def _hold(
    joints: Mapping[str, Joint],
    holds: pl.DataFrame,
    place: Mapping[Key, tuple[str, int | None, bool]],
    rows: Mapping[str, list[Row]],
    ids: Mapping[Key, str],
    animal_of: Mapping[str, str],
) -> None:
    """Hold what waits for an answer, and animals that clinics tell unlike."""
    for row in holds.iter_rows(named=True):
        if _key(row) in place:
            joints[place[_key(row)][0]].held.add(row["target"])
    told: dict[str, list[Row]] = defaultdict(list)
    for row in rows["animals"]:
        told[ids[row["clinic_id"], row["local_animal"]]].append(row)
    last: dict[str, list[tuple[Any, bool]]] = defaultdict(list)
    for row in rows["stifles"]:
        if row["end_of_followup_day"] is not None:
            animal = ids[row["clinic_id"], row["local_animal"]]
            day = row["surgery_date"].toordinal() + row["end_of_followup_day"]
            last[animal].append((day, row["end_status"] in ("died", "euthanised")))
    for name, joint in joints.items():
        animal = animal_of[name]
        if len(told[animal]) < 2:
            continue
        species = {row["species"] for row in told[animal]} - {None}
        sexes = {(row["sex_neuter"] or "").split("_")[0] for row in told[animal]} - {""}
        deaths = [day for day, dead in last[animal] if dead]
        after = bool(deaths) and min(deaths) < max(day for day, _ in last[animal])
        if len(species) > 1 or len(sexes) > 1 or after:
            joint.held.add("outcome:all")


def _causes_of_death(
    joints: Mapping[str, Joint],
    animal_of: Mapping[str, str],
    animals: Iterable[Row],
    ids: Mapping[Key, str],
) -> None:
    causes: dict[str, list[str]] = defaultdict(list)
    for row in animals:
        if row["death_cause"]:
            causes[ids[row["clinic_id"], row["local_animal"]]].append(row["death_cause"])
    for name, joint in joints.items():
        joint.death_cause = min(causes[animal_of[name]], default=None)
