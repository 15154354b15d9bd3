"""Guards on packaging: the four packages are ours, and come from one folder."""

from pathlib import Path

import analysis
import pipeline
import schemas
import shared


def test_four_packages_come_from_one_folder() -> None:
    """Another package with one of our names would shadow ours silently."""
    homes = {Path(str(package.__file__)).parent.parent for package in
             (analysis, pipeline, schemas, shared)}  # fmt: skip
    assert homes == {Path(__file__).resolve().parent.parent}


def test_no_init_file_below_tests() -> None:
    """tests/pipeline as a package would shadow pipeline."""
    assert not list(Path(__file__).parent.rglob("__init__.py"))


def test_lock_names_no_index() -> None:
    root = Path(__file__).resolve().parent.parent
    for lock in ("requirements.lock", "requirements-dev.lock"):
        text = (root / lock).read_text("utf-8")
        assert "--hash=sha256:" in text
        assert "://" not in text
