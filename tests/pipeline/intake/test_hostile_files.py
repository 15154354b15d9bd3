"""A corpus of hostile files: each ends in rows, questions or one refusal, in bounded time."""

import resource
import sys
import time
from collections.abc import Mapping
from pathlib import Path

import pytest

from pipeline.intake.study_intake import read_clinic
from schemas.codebook import Variable
from shared.errors import StudyError
from tests.pipeline.intake.hostile_books import BOOKS
from tests.pipeline.intake.hostile_text import SECRET, TEXT, Hostile
from tests.reported import LINES

CORPUS: Mapping[str, Hostile] = {**TEXT, **BOOKS}
MOST_SECONDS, MOST_MEGABYTES = 15, 2048
MAPPING = """
[[file]]
name = "a"
path = "{name}"
{says}
[[table]]
make = ["stifles"]
from = "a"
[table.columns]
local_animal = "Case"
side = {{ column = "Side", codes = {{ L = "left", R = "right" }} }}
surgery_date = "Date"
"""


def put(folder: Path, hostile: Hostile) -> None:
    """Write a clinic's folder with one hostile file, and its mapping."""
    export = folder / "exports" / "clinic"
    export.mkdir(parents=True)
    if hostile.make:
        hostile.make(export)
    else:
        content = hostile.content
        (export / hostile.name).write_bytes(
            content.encode() if isinstance(content, str) else content
        )
    (folder / "mappings").mkdir()
    mapping = MAPPING.format(name=hostile.name, says=hostile.says)
    (folder / "mappings" / "clinic.toml").write_text(mapping, "utf-8")


@pytest.mark.skipif(sys.platform == "win32", reason="pipes and links of a Unix file system")
@pytest.mark.parametrize("name", CORPUS)
def test_a_hostile_file_ends_in_rows_or_one_refusal(
    tmp_path: Path, codebook: tuple[Variable, ...], capfd: pytest.CaptureFixture[str], name: str
) -> None:
    hostile = CORPUS[name]
    put(tmp_path, hostile)
    started = time.perf_counter()
    try:
        ledger = read_clinic(tmp_path, "clinic", codebook).ledger
    except StudyError as error:
        said = str(error)
        assert isinstance(hostile.ends, str), said
        assert hostile.ends in said
        assert SECRET not in said
        assert said.count("\n") == 1
        assert all(letter.isprintable() for letter in said.replace("\n", ""))
        assert len(said) < 10_000
    else:
        fates = ledger.select("source_rows", "mapped", "set_aside", "unreadable").row(0)
        assert fates == hostile.ends
        assert fates[0] == sum(fates[1:])
    assert time.perf_counter() - started < MOST_SECONDS
    assert resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024 < MOST_MEGABYTES
    assert capfd.readouterr() == ("", "")


def test_the_corpus_is_large_enough() -> None:
    refused = sum(isinstance(item.ends, str) for item in CORPUS.values())
    assert len(CORPUS) >= 60
    assert 0 < refused < len(CORPUS)
    LINES.append(
        f"hostile files: {len(CORPUS)} tried, {refused} refused, {len(CORPUS) - refused} read with "
        "every row accounted for"
    )
