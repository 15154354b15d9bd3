"""The contract with the clinics: what a canonical export holds, as a Data Package."""

import re
from collections.abc import Iterable, Mapping

from schemas.codebook import CANONICAL_TABLES, Variable, codebook_version
from schemas.table_schema import Json, table_schema_json

# Table -> its title, what one row is, and whether a clinic may leave the table out.
TABLES: Mapping[str, tuple[str, str, bool]] = {
    "clinics": ("Clinic", "One row: your clinic and how its cases were found.", False),
    "animals": ("Animals", "One row per dog or cat.", False),
    "stifles": ("Stifles", "One row per operated knee: left and right are two rows.", False),
    "procedures": ("Procedures", "One row per operated knee: what was done at its first "
                   "operation.", False),
    "implants": ("Implants", "One row per implant, where you record them singly.", True),
    "rechecks": ("Rechecks", "One row per knee and visit, telephone call or questionnaire.", False),
    "complications": ("Complications", "One row per complication of a knee.", True),
    "revisions": ("Revisions", "One row per later operation on the same knee.", True),
    "measurements": ("Measurements", "One row per measurement on a radiograph, rater and "
                     "reading.", True),
}  # fmt: skip


def data_package(codebook: Iterable[Variable], *, title: str) -> Json:
    """Describe all canonical tables of a study as one Data Package (version 2).

    Parameters
    ----------
    codebook
        The declarations, a study's own included.
    title
        Title of the study.
    """
    declared = tuple(codebook)
    return {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": package_name(title),
        "title": title,
        "description": "Tables that a clinic sends to the study: one CSV file per table.",
        "version": codebook_version(declared),
        "resources": [_resource(declared, table) for table in CANONICAL_TABLES],
    }


def package_name(title: str) -> str:
    """Make a name of a title as the standard wants it: lower case, digits, hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:80] or "study"


def _resource(codebook: tuple[Variable, ...], table: str) -> Json:
    title, row, may_be_left_out = TABLES[table]
    return {
        "$schema": "https://datapackage.org/profiles/2.0/dataresource.json",
        "name": table,
        "title": title,
        "description": row + (" It may be left out or empty." if may_be_left_out else ""),
        "type": "table",
        "path": f"templates/{table}.csv",
        "scheme": "file",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {"delimiter": ",", "quoteChar": '"', "header": True},
        "schema": table_schema_json(codebook, table),
    }
