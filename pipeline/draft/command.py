"""Write a drafted mapping and its page."""

from collections.abc import Sequence
from pathlib import Path

from pipeline.draft.doubts import all_doubts
from pipeline.draft.draft import draft_clinic
from pipeline.draft.page import map_page
from pipeline.draft.write_toml import mapping_text
from pipeline.intake.mapping_schema import SCHEMA_FILE, schema_text
from pipeline.summary import Summary
from schemas.codebook import read_codebook
from shared.errors import InputFileError, PlanError
from shared.files import write_text


def draft_mapping(paths: Sequence[Path], clinic_id: str, out: Path) -> Summary:
    """Draft mappings/<clinic>.toml below `out`, and map.html beside it.

    Where `out` is a study folder, the variables that the study adds are known too.

    Raises
    ------
    InputFileError
        If a file cannot be read, or the clinic has a mapping already: that is never overwritten.
    PlanError
        If the clinic's code cannot be the name of a file.
    """
    if not clinic_id.isidentifier() and not clinic_id.replace("-", "_").isidentifier():
        raise PlanError(
            f"--clinic {clinic_id}", "a clinic's code has letters, digits, - and _ only",
            do="Name the folder of its export, exports/<clinic>.",
        )  # fmt: skip
    target = out / "mappings" / f"{clinic_id}.toml"
    if target.exists():
        raise InputFileError(
            str(target), "the clinic has a mapping already",
            do="Draft into another folder with --out, or delete this one.",
        )  # fmt: skip
    codebook = read_codebook(out)
    draft = draft_clinic(paths, clinic_id, codebook)
    page = out / "mappings" / f"{clinic_id}.map.html"
    write_text(target, mapping_text(draft, codebook))
    write_text(page, map_page(draft))
    write_text(out / "mappings" / SCHEMA_FILE, schema_text(codebook))
    columns = sum(len(sheet.grid.columns) for sheet in draft.sheets)
    unknown = sum(len(item.columns) for sheet in draft.sheets for item in sheet.unknown)
    refused = sum(len(item.columns) for sheet in draft.sheets for item in sheet.identifiers)
    return Summary(
        done=f"A draft of the mapping of {clinic_id}; it runs once a person has settled it.",
        counts={
            "sheets": len(draft.sheets), "columns": columns, "columns not recognised": unknown,
            "columns like identifiers": refused, "guesses to confirm": len(all_doubts(draft)),
        },
        written={"mapping": target, "what was seen": page},
        next_step=f"read {page.name}, settle each [[to_confirm]] in {target.name}, then "
        f"sulca check {out} --draft",
    )  # fmt: skip
