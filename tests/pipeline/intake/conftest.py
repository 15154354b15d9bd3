"""A clinic's export and mapping on disk, read as a study folder is."""

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from pipeline.intake.mapped import Mapped
from pipeline.intake.study_intake import read_clinic
from schemas.codebook import Variable, read_codebook

MapExport = Callable[[Mapping[str, str | bytes], str], Mapped]


@pytest.fixture(scope="session")
def codebook() -> tuple[Variable, ...]:
    return read_codebook()


@pytest.fixture
def map_export(tmp_path: Path, codebook: tuple[Variable, ...]) -> MapExport:
    """Write files and mapping of one clinic, and read them."""

    def write_and_read(files: Mapping[str, str | bytes], mapping: str) -> Mapped:
        for name, content in files.items():
            path = tmp_path / "exports" / "clinic" / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content.encode() if isinstance(content, str) else content)
        (tmp_path / "mappings").mkdir(exist_ok=True)
        (tmp_path / "mappings" / "clinic.toml").write_text(mapping, "utf-8")
        return read_clinic(tmp_path, "clinic", codebook)

    return write_and_read
