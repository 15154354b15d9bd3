"""The demo study: an invented network of five clinics, copied from the package."""

from importlib.resources import as_file, files
from pathlib import Path

from pipeline.intake.mapping_schema import SCHEMA_FILE, schema_text
from schemas.codebook import read_codebook
from shared.errors import InputFileError
from shared.files import write_bytes, write_text

PARTS = ("study.toml", "corrections.csv", "mappings", "exports")


def write_demo_study(folder: Path) -> None:
    """Write the demo study's inputs; an earlier demo in the same folder is written over.

    Raises
    ------
    InputFileError
        If the folder holds something that is not this demo study.
    """
    with as_file(files("shared") / "demo") as source:
        if folder.exists() and any(folder.iterdir()) and not _is_demo(folder, source):
            raise InputFileError(
                str(folder), "the folder holds something else", do="Name an empty or new folder."
            )
        for part in PARTS:
            for path in _files(source / part):
                write_bytes(folder / path.relative_to(source), path.read_bytes())
    write_text(folder / "mappings" / SCHEMA_FILE, schema_text(read_codebook()))


def _is_demo(folder: Path, source: Path) -> bool:
    """Tell an earlier demo by the title line of its study file."""
    path = folder / "study.toml"
    return path.is_file() and _title(path) == _title(source / "study.toml")


def _title(path: Path) -> str:
    lines = path.read_text("utf-8").splitlines()
    return next((line for line in lines if line.startswith("title")), "")


def _files(path: Path) -> list[Path]:
    if path.is_file():
        return [path]
    return sorted(item for item in path.rglob("*") if item.is_file())
