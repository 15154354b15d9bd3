"""Every snippet of docs/mapping.md is a mapping, or part of one, that reader and schema accept."""

import re
import tomllib
from pathlib import Path

import pytest

from pipeline.intake.mapping_file import read_mapping
from pipeline.intake.mapping_schema import mapping_schema
from schemas.codebook import read_codebook
from tests.pipeline.intake.json_schema import faults

TEXT = (Path(__file__).parents[3] / "docs" / "mapping.md").read_text("utf-8")
SNIPPETS = re.findall(r"```toml ?(settings|columns|)\n(.*?)```", TEXT, re.DOTALL)
SMALLEST = SNIPPETS[0][1]


@pytest.mark.parametrize(("kind", "snippet"), SNIPPETS)
def test_each_snippet_is_read(tmp_path: Path, kind: str, snippet: str) -> None:
    whole = {
        "": snippet, "settings": f"{snippet}\n{SMALLEST}", "columns": f"{SMALLEST}{snippet}",
    }[kind]  # fmt: skip
    (tmp_path / "clinic.toml").write_text(whole, "utf-8")
    assert read_mapping(tmp_path / "clinic.toml", read_codebook()).tables
    schema = mapping_schema(read_codebook())
    assert faults(tomllib.loads(whole), schema, schema) == []


def test_no_snippet_is_left_out() -> None:
    assert len(SNIPPETS) == TEXT.count("```toml") >= 12
