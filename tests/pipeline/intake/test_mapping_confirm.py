from pathlib import Path

import pytest

from pipeline.intake.mapping_file import read_mapping
from schemas.codebook import read_codebook
from shared.errors import MappingError

MAPPING = """
[[file]]
path = "stifles.csv"

{block}
[[table]]
make = "stifles"
from = "stifles"
[table.columns]
local_animal = "Case"
side = "Side"
surgery_date = "Date"
"""
BLOCK = """[[to_confirm]]
what = "Order of day and month"
guess = "DD/MM/YYYY"
evidence = "no value above 12"
do = "Ask the clinic."
"""


def written(folder: Path, block: str) -> Path:
    path = folder / "north.toml"
    path.write_text(MAPPING.format(block=block), "utf-8")
    return path


def test_a_guess_that_waits_for_a_person_stops_the_mapping_and_is_named_with_its_line(
    tmp_path: Path,
) -> None:
    path = written(tmp_path, BLOCK + "\n" + BLOCK.replace("Order of day and month", "Unit"))
    with pytest.raises(MappingError) as refused:
        read_mapping(path, read_codebook())
    assert "2 guesses wait" in refused.value.what
    assert "line 5: Order of day and month: DD/MM/YYYY" in refused.value.what
    assert "line 11: Unit" in refused.value.what
    assert "delete its [[to_confirm]]" in refused.value.do


def test_the_mapping_runs_once_the_blocks_are_deleted(tmp_path: Path) -> None:
    assert read_mapping(written(tmp_path, ""), read_codebook()).tables


def test_an_unknown_key_in_a_block_is_named(tmp_path: Path) -> None:
    path = written(tmp_path, BLOCK.replace("guess", "gues"))
    with pytest.raises(MappingError, match='"gues" is unknown'):
        read_mapping(path, read_codebook())
