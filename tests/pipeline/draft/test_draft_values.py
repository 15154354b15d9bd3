"""Values that a draft must ask about: breeds, scales, gauges and inches, initials, marks."""

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.draft.doubts import all_doubts
from pipeline.draft.draft import Draft, draft_clinic
from pipeline.draft.numbers import guess_marks
from pipeline.draft.write_toml import mapping_text
from pipeline.intake.study_intake import read_study
from tests.pipeline.draft.drafted import CODEBOOK, settled, without_blocks

CLINICS = ("harbour", "lake", "north", "plateau", "valley")


def drafted(folder: Path, visits: str = "", **cells: Sequence[str]) -> Draft:
    """Draft twelve operations; each further column has its texts in turn."""
    exports = folder / "exports" / "east"
    exports.mkdir(parents=True)
    head = ["Case ID", "Species", "Side", "Date of surgery", "Preop grade", *cells]
    rows = ["\t".join(head).replace("_", " ")]
    for n in range(1, 13):
        told = [texts[n % len(texts)] for texts in cells.values()]
        rows.append("\t".join([f"A{n}", "Dog", "L", f"1{n % 9}/05/2021", "II", *told]))
    (exports / "ops.txt").write_text("\n".join(rows) + "\n", "utf-8")
    if visits:
        (exports / "rechecks.csv").write_text(visits, "utf-8")
    return draft_clinic(sorted(exports.iterdir()), "east", CODEBOOK)


def visited(header: str, *texts: str) -> str:
    """Write nine rechecks with one more column of these texts in turn."""
    rows = [f"A{n},L,1{n}/08/2021,in,{texts[n % len(texts)]}" for n in range(1, 10)]
    return "\n".join([f"Case ID,Side,Recheck date,Patella,{header}", *rows]) + "\n"


def asked(draft: Draft) -> dict[str, str]:
    return {item.what: " / ".join((item.guess, item.evidence, item.do))
            for item in all_doubts(draft)}  # fmt: skip


def written(draft: Draft) -> dict[str, Any]:
    return tomllib.loads(mapping_text(draft, CODEBOOK))


def columns(draft: Draft, place: int = 0) -> dict[str, Any]:
    return written(draft)["table"][place]["columns"]


def read(draft: Draft, folder: Path) -> dict[str, pl.DataFrame]:
    settled(draft, folder / "mappings")
    return dict(read_study(folder, CODEBOOK).tables)


def test_breeds_that_no_list_knows_are_counted_and_can_be_given_a_code(tmp_path: Path) -> None:
    draft = drafted(tmp_path, Breed=("Pug", "Zz dog", "Pug", "Zz dog", "Yy dog", "Pug"))
    told = asked(draft)["stifles of ops: breeds without code"]
    assert 'kept as they are written: "Zz dog" (4), "Yy dog" (2)' in told
    assert "6 of 12 cells, 2 of 3 texts" in told
    assert '# "Zz dog" = ""' in mapping_text(draft, CODEBOOK)
    text = without_blocks(mapping_text(draft, CODEBOOK))
    path = settled(draft, tmp_path / "mappings")
    path.write_text(text.replace('# "Zz dog" = ""', '"Zz dog" = "crossbreed"'), "utf-8")
    breeds = read_study(tmp_path, CODEBOOK).tables["animals"]["breed"]
    assert breeds.value_counts().sort("breed").rows() == [
        ("Pug", 6), ("Yy dog", 2), ("crossbreed", 4),
    ]  # fmt: skip


def test_breeds_that_are_all_known_are_not_asked_about(tmp_path: Path) -> None:
    draft = drafted(tmp_path, Breed=("Pug", "Beagle", "Yorkie"))
    assert "stifles of ops: breeds without code" not in asked(draft)


@pytest.mark.parametrize(
    ("header", "texts", "guess", "why"),
    [("Lameness", ("0", "1", "3"), "0 to 5", 'values seen: "0" (3), "1" (3), "3" (3)'),
     ("Lameness", ("0", "1", "7"), "0 to 10", "7 is above 5"),
     ("Lameness", ("1/10", "2/10", "3/10"), "0 to 10", 'written "n/10"'),
     ("Lameness (0-4)", ("0", "1", "3"), "0 to 4", "the header says it"),
     ("Lameness", ("mild", "severe", "mild"), "words", '"mild" (6), "severe" (3)')],
)  # fmt: skip
def test_the_scale_of_a_recheck_is_asked_with_the_values_seen(
    header: str, texts: tuple[str, ...], guess: str, why: str, tmp_path: Path
) -> None:
    draft = drafted(tmp_path, visited(header, *texts))
    told = asked(draft)["rechecks of rechecks: scale of lameness_score"]
    assert told.startswith(f"{guess} / ")
    assert why in told


def test_a_scale_to_five_in_the_header_needs_no_question(tmp_path: Path) -> None:
    draft = drafted(tmp_path, visited("Lameness (0-5)", "0", "1"), Lameness_preop_5=("1", "2"))
    assert not [what for what in asked(draft) if "scale of lameness_score" in what]


def test_the_scale_before_surgery_is_asked_in_one_block(tmp_path: Path) -> None:
    draft = drafted(tmp_path, Lameness_preop=("0", "6", "9"))
    blocks = [what for what in asked(draft) if "lameness" in what]
    assert blocks == ["stifles of ops: scale of lameness_preop"]
    assert columns(draft)["lameness_scale"]["value"] == "zero_to_ten"


@pytest.mark.parametrize("texts", [("1/10", "2/10", "1/10"), ("1/10", "0", "2")])
def test_one_of_ten_is_read_with_its_whole(texts: tuple[str, ...], tmp_path: Path) -> None:
    draft = drafted(tmp_path, visited("Lameness", *texts))
    assert columns(draft, 1)["lameness_score"] == {"column": "Lameness", "out_of": 10}
    scores = read(draft, tmp_path)["rechecks"]["lameness_score"]
    assert scores.null_count() == 0
    assert scores.max() == 2


def test_figures_for_the_use_of_a_limb_are_asked_which_end_is_good(tmp_path: Path) -> None:
    draft = drafted(tmp_path, visited("Function", "1/10", "3/10"))
    told = asked(draft)["rechecks of rechecks: scale of function_class"]
    assert 'values seen: "3/10" (5), "1/10" (4)' in told
    assert 'codes = { "3/10" = "full", … }' in told
    assert "rechecks of rechecks: texts without code" not in asked(draft)


@pytest.mark.parametrize(
    ("wires", "unit"),
    [(("20G", "18G"), {"g": "gauge"}), (("20G", "18"), {"": "gauge", "g": "gauge"}),
     (("20 ga", "1.0 mm", "18 ga"), {"ga": "gauge", "mm": "mm"})],
)  # fmt: skip
def test_gauges_with_their_word_are_read_by_the_table_of_wires(
    wires: tuple[str, ...], unit: dict[str, str], tmp_path: Path
) -> None:
    """20 and 18 gauge are 0.8 and 1.0 mm in the usual orthopaedic table (common practice)."""
    draft = drafted(tmp_path, TB_wire=wires, Tension_band=("yes",))
    assert columns(draft)["tb_wire_diameter_mm"] == {"column": "TB wire", "unit": unit}
    assert set(written(draft)["gauge_mm"]) == {"18", "20"}
    assert "Wire gauges" in asked(draft)
    found = read(draft, tmp_path)["procedures"]["tb_wire_diameter_mm"]
    assert set(found) == {0.8, 1.0}


def test_inches_written_with_a_mark_become_millimetres(tmp_path: Path) -> None:
    """An inch is 25.4 mm by definition: 0.045 inch is 1.143 mm, 0.062 inch 1.5748 mm."""
    draft = drafted(tmp_path, Pin_size=('.045"', '0.062"'))
    assert columns(draft)["kwire_diameter_mm"] == {"column": "Pin size", "unit": {'"': "inch"}}
    found = read(draft, tmp_path)["procedures"]["kwire_diameter_mm"]
    assert sorted(set(found)) == pytest.approx([1.143, 1.5748])


def test_numbers_with_a_unit_in_another_mark_are_not_called_understood(tmp_path: Path) -> None:
    """The weights prove the comma, and the intake reads no point in such a text file."""
    draft = drafted(tmp_path, Pin_size=('.045"', '.062"'), Weight=("4,5", "5,25", "3,1", "6,5"),
                    Groove_after=("1,5", "2,5"))  # fmt: skip
    told = asked(draft)
    assert "stifles of ops: kwire_diameter_mm" in told
    assert "0 of 12 are numbers with a unit" in told["stifles of ops: kwire_diameter_mm"]
    assert "24 cells with a decimal comma, 12 with a decimal point" in told["Decimal mark"]


@pytest.mark.parametrize(
    ("header", "texts"),
    [("Op.", ("AB", "CD", "EF")), ("Op.", ("1", "2", "3")), ("Re-op on", ("AB", "CD", "EF"))],
)
def test_what_is_no_date_gives_no_day(header: str, texts: tuple[str, ...], tmp_path: Path) -> None:
    draft = drafted(tmp_path, visited(header, *texts), **{header: texts})
    given = {name for table in written(draft)["table"] for name in table["columns"]
             if name.endswith("_day")}  # fmt: skip
    assert given == {"recheck_day"}


def test_a_date_still_gives_the_day_of_a_revision(tmp_path: Path) -> None:
    draft = drafted(tmp_path, Reop_date=("11/08/2021", "12/09/2021"))
    assert {"revision_day"} <= {name for table in written(draft)["table"]
                                for name in table["columns"]}  # fmt: skip


def test_marks_are_counted_in_cells_with_their_unit_or_without() -> None:
    cells = ["4,5"] * 3 + ["4,5 kg", ".5", "12", "12.03.2021"]
    marks = guess_marks(cells, typed=False, language="de")
    assert marks.guess.evidence == "4 cells with a decimal comma, 1 with a decimal point"
    assert not marks.guess.proved


def sets_of(entry: dict[str, Any]) -> set[str]:
    """Name every variable that a [[table.list]] gives, by a word or by not naming it."""
    parts = [*entry["words"], *entry.get("otherwise", [])]
    return {name for part in parts for name in (*part.get("sets", {}), *part.get("missing", {}))}


def assert_guesses_are_true(draft: Draft) -> int:
    told = {
        item.what: item.guess for item in all_doubts(draft) if ': list in column "' in item.what
    }
    lists = [(table, entry) for table in written(draft)["table"]
             for entry in table.get("list", [])]  # fmt: skip
    assert len(told) == len(lists)
    for guess, (_, entry) in zip(told.values(), lists, strict=True):
        said = set(guess.removeprefix("sets ").split(", ")) - {""}
        assert said == sets_of(entry)
    return len(lists)


@pytest.mark.parametrize("clinic", CLINICS)
def test_the_guess_about_a_list_names_what_it_sets(clinic: str, drafts: dict[str, Draft]) -> None:
    assert_guesses_are_true(drafts[clinic])


def test_a_word_that_stands_behind_a_mark_sets_nothing(tmp_path: Path) -> None:
    """TTT zz is not understood whole, so nothing in the list gives the transposition."""
    draft = drafted(tmp_path, Technique=("BRS+TTT zz", "WR+TTT zz", "BRS+LI"))
    assert assert_guesses_are_true(draft) == 1
    told = next(text for what, text in asked(draft).items() if "list in column" in what)
    assert "ttt_done" not in told.partition(" / ")[0]
    assert "sulcoplasty_type" in told.partition(" / ")[0]
