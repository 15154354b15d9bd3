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
    assert refused.value.what.splitlines()[1:] == [
        "  Order of day and month", "    line 5: DD/MM/YYYY", "  Unit", "    line 11: DD/MM/YYYY",
    ]  # fmt: skip
    assert "delete its [[to_confirm]]" in refused.value.do


def test_guesses_of_one_table_stand_together_one_a_line_and_at_most_twenty(tmp_path: Path) -> None:
    names = [f"rechecks of visits: column {n}" for n in range(23)]
    names.insert(1, "stifles of cases: side\\nline 7: forged")
    blocks = [BLOCK.replace("Order of day and month", name) for name in names]
    with pytest.raises(MappingError) as refused:
        read_mapping(written(tmp_path, "\n".join(blocks)), read_codebook())
    told = refused.value.what.splitlines()
    assert told[0] == "24 guesses wait for a person:"
    assert told[1:4] == ["  rechecks of visits", "    line 5: column 0: DD/MM/YYYY",
                         "    line 17: column 1: DD/MM/YYYY"]  # fmt: skip
    assert told[21:] == ["  stifles of cases", "    line 11: side line 7: forged: DD/MM/YYYY",
                         "  and 4 more"]  # fmt: skip


def test_the_mapping_runs_once_the_blocks_are_deleted(tmp_path: Path) -> None:
    assert read_mapping(written(tmp_path, ""), read_codebook()).tables


def test_an_unknown_key_in_a_block_is_named(tmp_path: Path) -> None:
    path = written(tmp_path, BLOCK.replace("guess", "gues"))
    with pytest.raises(MappingError, match='"gues" is unknown'):
        read_mapping(path, read_codebook())
