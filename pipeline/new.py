"""`sulca new`: a commented study skeleton, a filled mapping as example, and empty templates."""

from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from string import Template

from pipeline.corrections_file import COLUMNS
from pipeline.intake.mapping_schema import SCHEMA_FILE, schema_text
from schemas.codebook import CANONICAL_TABLES, codebook_version, read_codebook
from schemas.dictionary import dictionary, template
from shared.errors import InputFileError
from shared.files import write_text

EXAMPLE = "north.toml"


def create_study(folder: Path) -> list[Path]:
    """Write a study skeleton into a folder that is empty or absent.

    Returns
    -------
    list of Path
        The files written, in the order in which a user meets them.

    Raises
    ------
    InputFileError
        If the folder holds something already, or is a file.
    """
    if folder.is_file() or (folder.is_dir() and any(folder.iterdir())):
        raise InputFileError(
            str(folder), "it is not empty", do="Name an empty folder, or one that is not there yet."
        )
    written: list[Path] = []
    for name, text in _contents().items():
        write_text(folder / name, text)
        written.append(folder / name)
    return written


def _contents() -> dict[str, str]:
    codebook = read_codebook()
    skeleton = _read(files("pipeline") / "templates" / "new" / "study.toml")
    example = _read(files("shared") / "demo" / "mappings" / EXAMPLE)
    contents = {
        "study.toml": Template(skeleton).substitute(codebook_version=codebook_version(codebook)),
        "exports/README.md": _read(files("pipeline") / "templates" / "new" / "exports.md"),
        f"mappings/{EXAMPLE}.example": example,
        f"mappings/{SCHEMA_FILE}": schema_text(codebook),
        "corrections.csv": ",".join(COLUMNS) + "\n",
    }
    for table in CANONICAL_TABLES:
        contents[f"templates/{table}.csv"] = template(codebook, table)
    return contents | {"templates/dictionary.csv": dictionary(codebook).write_csv()}


def _read(place: Traversable) -> str:
    return place.read_text("utf-8")
