"""Helpers of the tests of drafts: the demo's exports drafted, and what a mapping reads."""

from pathlib import Path

from pipeline.draft.draft import Draft, draft_clinic
from pipeline.draft.write_toml import mapping_text
from pipeline.intake.blocks import in_block
from pipeline.intake.mapping import ClinicMapping
from pipeline.intake.mapping_file import read_mapping
from schemas.codebook import read_codebook

DEMO = Path(__file__).parents[3] / "shared" / "demo"
CLINICS = ("harbour", "lake", "north", "plateau", "valley")
CODEBOOK = read_codebook()


NOT_DRAFTED = "images.csv"  # North's readings of images: the table of measurements is not drafted


def demo_files(clinic: str) -> list[Path]:
    """Give the files of a demo clinic that a draft can speak of."""
    files = (DEMO / "exports" / clinic).iterdir()
    return sorted(path for path in files if path.name != NOT_DRAFTED)


def draft_of(clinic: str) -> Draft:
    """Draft a demo clinic's mapping from its export alone."""
    return draft_clinic(demo_files(clinic), clinic, CODEBOOK)


def without_blocks(text: str) -> str:
    """Delete every [[to_confirm]] block, as a person does who agrees with all of them."""
    kept: list[str] = []
    inside = False
    for line in text.splitlines():
        inside = line == "[[to_confirm]]" or (inside and line != "")
        if not inside:
            kept.append(line)
    return "\n".join(kept) + "\n"


def settled(draft: Draft, folder: Path) -> Path:
    """Write the drafted mapping with its blocks deleted."""
    path = folder / f"{draft.clinic_id}.toml"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(without_blocks(mapping_text(draft, CODEBOOK)), "utf-8")
    return path


def reads(path: Path) -> set[tuple[str, str, str, str]]:
    """Name (file and sheet, header, table, variable) for every column that a mapping reads."""
    mapping = read_mapping(path, CODEBOOK)
    return {item for table in range(len(mapping.tables)) for item in _table_reads(mapping, table)}


def _table_reads(mapping: ClinicMapping, place: int) -> set[tuple[str, str, str, str]]:
    table = mapping.tables[place]
    source = next(item for item in mapping.files if item.name == table.source)
    where = f"{source.path} {source.sheet}".strip()
    kind = ("fills " if table.fills else "") + max(table.tables)
    found: set[tuple[str, str, str, str]] = set()
    for block in table.blocks:
        named = in_block(table, block, ())
        for variable, sources in named.columns.items():
            found |= {(where, header, kind, variable) for item in sources
                      for header in item.columns}  # fmt: skip
        for words in named.lists:
            found |= {(where, words.column, kind, variable) for variable in words.variables}
    return found
