"""`sulca contract`: everything a clinic needs to know and fill in, made from the codebook."""

import json
from importlib.resources import files
from pathlib import Path

from pipeline.contract_pages import cover_page, dictionary_page
from pipeline.contract_words import workbook_guide
from pipeline.contract_workbook import write_contract_workbook
from pipeline.study import read_study
from schemas.codebook import CANONICAL_TABLES, read_codebook
from schemas.contract import data_package
from schemas.dictionary import template
from shared.files import write_text

WORKBOOK = "template.xlsx"


def write_contract(study_folder: Path) -> list[Path]:
    """Write ``contract/`` of a study folder; the study's own variables are in it.

    Returns
    -------
    list of Path
        The files written: cover page, dictionary, workbook, Data Package, empty tables, an
        example of the settings of `sulca mask`.

    Raises
    ------
    InputFileError, PlanError
        If study.toml or the study's codebook cannot be read.
    """
    title = read_study(study_folder).title
    codebook = read_codebook(study_folder)
    folder = study_folder / "contract"
    package = json.dumps(data_package(codebook, title=title), indent=2, ensure_ascii=False)
    texts = {
        "index.html": cover_page(title, codebook),
        "dictionary.html": dictionary_page(title, codebook),
        "datapackage.json": package + "\n",
        "mask.toml": _example("mask.toml"),
    } | {f"templates/{table}.csv": template(codebook, table) for table in CANONICAL_TABLES}
    for name, text in texts.items():
        write_text(folder / name, text)
    write_contract_workbook(folder / WORKBOOK, codebook, workbook_guide(title))
    return [folder / name for name in (*texts, WORKBOOK)]


def _example(name: str) -> str:
    return (files("pipeline") / "templates" / "contract" / name).read_text("utf-8")
