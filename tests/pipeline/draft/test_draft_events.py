"""Sheets whose rows are several kinds of event: drafted by kind, or asked about."""

import tomllib
from pathlib import Path

import pytest

from pipeline.draft.doubts import all_doubts
from pipeline.draft.draft import Draft, draft_clinic
from pipeline.draft.write_toml import mapping_text
from pipeline.intake.study_intake import read_study
from tests.pipeline.draft.drafted import CODEBOOK, settled

OPERATIONS = "Case ID,Species,Side,Date of surgery,Preop grade\n" + "".join(
    f"A{n},Dog,L,1{n}/05/2021,II\n" for n in range(1, 10)
)
# Kind, what follows it in a row of the log, and how many such rows each of nine animals has.
LOG = (
    ("recheck", "in,1", 2), ("phone call", ",", 1), ("reluxation", ",", 1),
    ("implant removal", ",", 1), ("died", ",", 1),
)  # fmt: skip
ROWS = {"stifles": 9, "rechecks": 27, "complications": 9, "revisions": 9}


def log(header: str, *, filled: bool = False, kinds: tuple[tuple[str, str, int], ...] = LOG) -> str:
    """Write nine animals with the same events each."""
    lines = [f"Case ID,Side,Date,{header},Patella,Lameness (0-5)"]
    month = 5
    for kind, told, times in kinds:
        for _ in range(times):
            month += 1
            lines += [f"A{n},L,1{n}/{month:02}/2021,{kind},{'in,1' if filled else told}"
                      for n in range(1, 10)]  # fmt: skip
    return "\n".join(lines) + "\n"


def drafted(folder: Path, text: str) -> Draft:
    exports = folder / "exports" / "east"
    exports.mkdir(parents=True)
    (exports / "ops.csv").write_text(OPERATIONS, "utf-8")
    (exports / "log.csv").write_text(text, "utf-8")
    return draft_clinic([exports / "ops.csv", exports / "log.csv"], "east", CODEBOOK)


def asked(draft: Draft) -> dict[str, str]:
    return {item.what: " ".join((item.guess, item.evidence, item.do)) for item in all_doubts(draft)}


@pytest.mark.parametrize("header", ["What", "Event", "Zz"])
def test_a_log_of_events_makes_rows_of_each_kind(header: str, tmp_path: Path) -> None:
    """Under a header that says nothing, columns filled for rechecks only show that it is one."""
    draft = drafted(tmp_path, log(header))
    told = asked(draft)[f'log.csv: kinds of event in "{header}"']
    assert 'rechecks: "recheck" (18), "phone call" (9)' in told
    assert 'complications: "reluxation" (9)' in told
    assert 'revisions: "implant removal" (9)' in told
    assert 'follow_up: "died" (9)' in told
    settled(draft, tmp_path / "mappings")
    tables = read_study(tmp_path, CODEBOOK).tables
    assert {name: tables[name].height for name in ROWS} == ROWS
    assert set(tables["complications"]["complication_type"]) == {"reluxation"}
    assert set(tables["stifles"]["end_status"]) == {"died"}
    assert tables["stifles"]["end_of_followup_day"].null_count() == 0


def test_kinds_that_nobody_knows_are_counted_and_read_by_no_table(tmp_path: Path) -> None:
    draft = drafted(tmp_path, log("What", kinds=(*LOG[:3], ("zzz", ",", 1))))
    told = asked(draft)['log.csv: kinds of event in "What"']
    assert 'no table reads: "zzz" (9)' in told
    wheres = str([item["where"] for item in tomllib.loads(mapping_text(draft, CODEBOOK))["table"]
                  if "where" in item])  # fmt: skip
    assert "zzz" not in wheres


@pytest.mark.parametrize("kinds", [LOG, (("recheck", "", 1), ("zz", "", 1), ("died", "", 1))])
def test_a_column_that_may_part_the_rows_is_asked_about(
    kinds: tuple[tuple[str, str, int], ...], tmp_path: Path
) -> None:
    """Every row is filled alike, so the column may say what was planned at a recheck."""
    draft = drafted(tmp_path, log("Zz", filled=True, kinds=kinds))
    assert [table.context for table in draft.sheets[1].tables] == ["rechecks"]
    told = asked(draft)["log.csv: rows of several kinds"]
    n = sum(9 * times for kind, _, times in kinds if kind == "recheck")
    assert "every row is read as one of rechecks" in told
    assert f'rechecks: "recheck" ({n})' in told
    assert 'follow_up: "died" (9)' in told
    assert 'where = [{ column = "Zz", is = ' in told


@pytest.mark.parametrize(
    ("header", "texts"),
    [("Treatment", ("revision", "pin removal", "recheck")), ("Status", ("discharged", "recheck")),
     ("Complication", ("reluxation", "implant removal", "recheck"))],
)  # fmt: skip
def test_a_column_of_a_variable_is_no_column_of_events(
    header: str, texts: tuple[str, ...], tmp_path: Path
) -> None:
    kinds = tuple((text, "in,1", 1) for text in texts)
    draft = drafted(tmp_path, log(header, kinds=kinds))
    assert draft.sheets[1].events is None
    assert "log.csv: rows of several kinds" not in asked(draft)


def test_an_operation_list_is_no_log_because_of_what_became_of_its_animals(tmp_path: Path) -> None:
    text = "Case ID,Side,Date of surgery,Zz,Preop grade\n" + "".join(
        f"B{n},L,1{n}/05/2021,{'recheck' if n % 2 else 'died'},{'II' if n % 2 else ''}\n"
        for n in range(1, 10)
    )
    draft = drafted(tmp_path, text)
    assert [table.context for table in draft.sheets[1].tables] == ["stifles"]
    assert "log.csv: rows of several kinds" in asked(draft)


def test_free_texts_of_events_are_asked_about_and_only_those_that_repeat_are_shown(
    tmp_path: Path,
) -> None:
    rows = [f"A{n % 9 + 1},L,1{n % 9}/0{n // 9 + 6}/2021,{what},in" for n, what in enumerate(
        ["recheck"] * 9 + [f"recheck wk {n} brisk" for n in range(30)]
        + ["revision"] * 4 + [f"died of thing {n}" for n in range(3)])]  # fmt: skip
    text = "\n".join(["Case ID,Side,Date,What,Patella", *rows]) + "\n"
    draft = drafted(tmp_path, text)
    told = asked(draft)["log.csv: rows of several kinds"]
    assert 'rechecks: "recheck" (9) and 30 more texts; revisions: "revision" (4)' in told
    assert "brisk" not in mapping_text(draft, CODEBOOK)
