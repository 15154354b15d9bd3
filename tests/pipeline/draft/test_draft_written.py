"""What stands in a drafted file: lines behind #, dates of the clinic, names of months."""

import re
import tomllib
from pathlib import Path

import pytest

from pipeline.draft.draft import Draft, draft_clinic
from pipeline.draft.write_toml import mapping_text
from tests.pipeline.draft.drafted import CODEBOOK

ENTRY = re.compile(r'\s*# (\{ |[A-Za-z0-9_-]+ = |"(?:[^"\\]|\\.)*" = |\[[a-z_.]+\]$)')


def drafted(folder: Path, **files: str) -> Draft:
    """Draft from texts of CSV files by name."""
    paths = [folder / f"{name}.csv" for name in files]
    for path, text in zip(paths, files.values(), strict=True):
        path.write_text(text, "utf-8")
    return draft_clinic(paths, "east", CODEBOOK)


OPERATIONS = """Case ID;Species;Side;Date of surgery;Preop grade;Technique;Wire gauge;CCL
A1;Dog;L;13/05/2021;II;TTT+LIMBX;23;rupt
A2;Dog;R;14/06/2021;III;TTT+BRS;20;ok
A3;Dog;R;20/06/2021;III;TTT+BRS;18;ok
"""


def assert_every_line_can_be_uncommented(text: str) -> int:
    lines = text.splitlines()
    entries = [at for at, line in enumerate(lines) if ENTRY.match(line)]
    for at in entries:
        line = lines[at].replace("# ", "", 1)
        tomllib.loads("\n".join([*lines[:at], line, *lines[at + 1 :]]))
    return len(entries)


def test_any_line_behind_a_mark_can_be_uncommented(tmp_path: Path) -> None:
    text = mapping_text(drafted(tmp_path, ops=OPERATIONS), CODEBOOK)
    assert '# { is = "LIMBX"' in text
    assert '# "rupt" = ""' in text
    assert "# 23 = 0.0" in text
    assert assert_every_line_can_be_uncommented(text) > 5


@pytest.mark.parametrize("clinic", ["lake", "plateau", "valley"])
def test_any_line_of_the_demo_can_be_uncommented(clinic: str, drafts: dict[str, Draft]) -> None:
    assert assert_every_line_can_be_uncommented(mapping_text(drafts[clinic], CODEBOOK)) > 5


def test_the_data_lock_is_the_latest_date_anywhere(tmp_path: Path) -> None:
    visits = "Case ID;Side;Zz thing;Patella\nA1;L;20/09/2023;in\nA2;R;13/01/2022;in\n"
    draft = drafted(tmp_path, ops=OPERATIONS, rechecks=visits)
    text = mapping_text(draft, CODEBOOK)
    assert "accrual_start = 2021-05-13 " in text
    assert "accrual_end = 2021-06-20 " in text
    assert "data_lock_date = 2023-09-20 " in text


@pytest.mark.parametrize(
    ("first", "second", "named"),
    [("13 Nov 2021", "14 Mar 2022", {"jan", "may", "oct", "dec"}),
     ("13 May 2021", "14 Dez 2022", {"jan", "may", "oct", "mai", "okt", "dez"})],
)  # fmt: skip
def test_all_twelve_months_of_the_languages_seen_are_named(
    first: str, second: str, named: set[str], tmp_path: Path
) -> None:
    text = OPERATIONS.replace("13/05/2021", first).replace("14/06/2021", second)
    months = tomllib.loads(mapping_text(drafted(tmp_path, ops=text), CODEBOOK))["dates"]["months"]
    assert named <= set(months)
    assert set(months.values()) == set(range(1, 13))
    assert ("okt" in months) is ("okt" in named)
