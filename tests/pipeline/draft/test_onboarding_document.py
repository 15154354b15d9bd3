"""docs/onboarding.md holds: its edits are read, its blocks are asked, its walk leads to a check."""

import re
import tomllib
from pathlib import Path

import pytest

from pipeline.draft.command import draft_mapping
from pipeline.draft.doubts import all_doubts
from pipeline.draft.draft import Draft, draft_clinic
from pipeline.intake.mapping_file import read_mapping
from pipeline.intake.mapping_schema import mapping_schema
from pipeline.new import create_study
from pipeline.run import run_study
from shared.errors import MappingError
from tests.pipeline.draft.drafted import CODEBOOK, without_blocks
from tests.pipeline.intake.json_schema import faults

DOCS = Path(__file__).parents[3] / "docs"
TEXT = (DOCS / "onboarding.md").read_text("utf-8")
SMALLEST = re.findall(r"```toml\n(.*?)```", (DOCS / "mapping.md").read_text("utf-8"), re.DOTALL)[0]
EDITS = re.findall(r"```toml (settings|columns|file)\n(.*?)```", TEXT, re.DOTALL)
BLOCKS = {name for heading in re.findall(r"^### \d+\. (.*)$", TEXT, re.MULTILINE)
          for name in re.findall(r'"([^"]+)"', heading)}  # fmt: skip
HEAD = ("Case ID", "Species", "Breed", "Sex", "Wt", "Date of surgery", "Limb", "Preop lameness",
        "Preop grade", "Zz", "TB wire", "Pin")  # fmt: skip
OPERATIONS = "\n".join([",".join(HEAD)] + [
    f"A{n},Dog,{('Yorkie', 'Zz dog')[n % 2]},{('fs', 'zz')[n % 2]},{n}.5,0{n}/05/2021,L,"
    f"{('6', '?')[n % 2]},II,x,20G,1" for n in range(1, 10)
] + ["TOTAL,,,,,,,,,,,"])  # fmt: skip
LOG = "\n".join(["Case ID,Date,What,Patella,Lameness,Function,Wk"] + [
    f"A{n},0{n}/0{7 + at}/2021,{what},{'in,1/10,3/10' if what == 'recheck' else ',,'},{at}"
    for n in range(1, 10) for at, what in enumerate(("recheck", "seroma", "died"))
])  # fmt: skip
MIXED = "\n".join(["Case ID,Limb,Recheck date,Zz,Patella"] + [
    f"A{n},L,0{n}/09/2021,{('recheck', 'died')[n % 2]},in" for n in range(1, 10)
])  # fmt: skip


def exported(folder: Path) -> list[Path]:
    folder.mkdir(parents=True)
    for name, text in (("ops", OPERATIONS), ("log", LOG), ("mixed", MIXED)):
        (folder / f"{name}.csv").write_text(f"{text}\n", "utf-8")
    return sorted(folder.iterdir())


@pytest.mark.parametrize(("kind", "edit"), EDITS)
def test_each_edit_is_read_by_reader_and_schema(kind: str, edit: str, tmp_path: Path) -> None:
    path = 'path = "cases.csv"\n'
    whole = {
        "settings": f"{edit}\n{SMALLEST}", "columns": f"{SMALLEST}{edit}",
        "file": SMALLEST.replace(path, path + edit),
    }[kind]  # fmt: skip
    (tmp_path / "clinic.toml").write_text(whole, "utf-8")
    assert read_mapping(tmp_path / "clinic.toml", CODEBOOK).tables
    schema = mapping_schema(CODEBOOK)
    assert faults(tomllib.loads(whole), schema, schema) == []


def test_no_edit_is_left_out() -> None:
    assert len(EDITS) == TEXT.count("```toml") >= 10
    assert len(re.findall(r"^### \d+\. ", TEXT, re.MULTILINE)) == 10


def test_each_block_that_the_page_names_is_asked(drafts: dict[str, Draft], tmp_path: Path) -> None:
    draft = draft_clinic(exported(tmp_path / "exports" / "east"), "east", CODEBOOK)
    asked = [item.what for found in (draft, *drafts.values()) for item in all_doubts(found)]
    assert len(BLOCKS) > 10
    assert not {name for name in BLOCKS if not any(name in what for what in asked)}


def test_the_walk_leads_from_an_export_to_a_check(tmp_path: Path) -> None:
    folder = tmp_path / "study"
    create_study(folder)
    done = draft_mapping(exported(folder / "exports" / "east"), "east", folder)
    mapping = done.written["mapping"]
    assert mapping == folder / "mappings" / "east.toml"
    assert done.written["what was seen"] == folder / "mappings" / "east.map.html"
    with pytest.raises(MappingError, match="guesses wait for a person"):
        run_study(folder, until="check", on_step=lambda _step: None, draft=True)
    text = without_blocks(mapping.read_text("utf-8"))
    log = 'where = [{ column = "What"'
    assert text.count(log) == 3
    side = 'local_animal = "Case ID"'
    parts = text.split(log)
    mended = [part.replace(side, f'side = {{ value = "left" }}\n{side}', 1) for part in parts[1:]]
    mapping.write_text(log.join([parts[0], *mended]), "utf-8")
    run_study(folder, until="check", on_step=lambda _step: None, draft=True)
    assert (folder / "out/queries/draft/east.csv").exists()
    assert (folder / "out/queries/draft/for the coordinator.csv").exists()
    assert not (folder / "out/queries/east.csv").exists()
    run = run_study(folder, until="check", on_step=lambda _step: None)
    assert run.checked.tables["complications"].height == 9
    assert run.checked.tables["rechecks"].height == 18
    assert (folder / "out/queries/east.xlsx").exists()
