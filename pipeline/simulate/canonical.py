"""The invented network as files that are canonical already, with implants and measured images."""

import csv
import io
from collections.abc import Mapping
from pathlib import Path

import polars as pl

from pipeline.simulate.casebook import Case, cases_of
from pipeline.simulate.clinics import CLINIC_IDS
from pipeline.simulate.grid import Grid
from shared.files import write_text

TABLES = (
    "clinics", "animals", "stifles", "procedures", "implants", "rechecks", "complications",
    "revisions", "measurements",
)  # fmt: skip


def canonical_sheets(tables: Mapping[str, pl.DataFrame]) -> dict[str, list[Grid]]:
    """Fill one sheet per canonical table and clinic, in the order of ``TABLES``."""
    whole = dict(tables) | {"implants": _implants(tables), "measurements": _images(tables)}
    return {clinic: [_sheet(name, whole[name], cases_of(tables, clinic), clinic)
                     for name in TABLES] for clinic in CLINIC_IDS}  # fmt: skip


def save_canonical(sheets: Mapping[str, list[Grid]], folder: Path) -> None:
    """Write ``folder/<clinic>/<table>.csv``: comma, UTF-8, ISO dates, codes as they are."""
    for clinic, grids in sheets.items():
        for grid in grids:
            out = io.StringIO()
            csv.writer(out, lineterminator="\n").writerows(grid.cells())
            write_text(folder / clinic / grid.file, out.getvalue())


def _sheet(name: str, frame: pl.DataFrame, cases: list[Case], clinic: str) -> Grid:
    own = frame.filter(pl.col("clinic_id") == clinic)
    by_stifle = {str(case.facts["local_stifle"]): case for case in cases}
    by_animal = {case.animal: case for case in cases}
    grid = Grid(file=f"{name}.csv", header=tuple(own.columns))
    for row in own.iter_rows(named=True):
        case = by_stifle.get(row.get("local_stifle", "")) or by_animal.get(
            row.get("local_animal", "")
        )
        grid.add(case, {key: _cell(value) for key, value in row.items()})
    return grid


def _cell(value: object) -> str:
    if value is None:
        return ""
    return str(value).lower() if isinstance(value, bool) else str(value)


def _implants(tables: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """One row per stifle with K-wires: the wires, as they were placed."""
    wired = tables["procedures"].filter(pl.col("kwire_count") > 0)
    made = wired.select(
        "clinic_id", "local_stifle", implant_no=pl.lit(1), implant_type=pl.lit("k_wire"),
        implant_diameter_mm="kwire_diameter_mm",
    )  # fmt: skip
    return _as(made, tables["implants"])


def _images(tables: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """One reading of the osteotomy depth per image taken after surgery, by one rater."""
    moved = tables["procedures"].filter(pl.col("osteotomy_depth_mm").is_not_null())
    made = moved.select(
        "clinic_id", "local_stifle", image_id=pl.concat_str(pl.lit("I-"), "local_stifle"),
        image_day=pl.lit(0), time_point=pl.lit("immediate_postoperative"),
        measure=pl.lit("osteotomy_depth_mm"), value="osteotomy_depth_mm", rater_id=pl.lit("R1"),
        read_no=pl.lit(1), rater_blinded=pl.lit(value=True), calibrated=pl.lit(value=True),
    )  # fmt: skip
    return _as(made, tables["measurements"])


def _as(made: pl.DataFrame, table: pl.DataFrame) -> pl.DataFrame:
    return made.select(
        (pl.col(name) if name in made.columns else pl.lit(None)).cast(dtype).alias(name)
        for name, dtype in table.schema.items()
    ).sort("clinic_id", "local_stifle")
