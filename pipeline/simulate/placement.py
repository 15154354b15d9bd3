"""Where wires and band lie, and what two readers see on the images: only files need either."""

import zlib

import numpy as np
import polars as pl

from pipeline.simulate.casebook import Case, Row

READERS = ("IR1", "IR2")
FIRST_YEAR = 2019  # images were read from then on
BIAS_MM = (0.0, 0.12)
SPREAD_MM = {"osteotomy_depth_mm": 0.15, "tibial_depth_mm": 0.25}


def placed(rng: np.random.Generator, procedures: pl.DataFrame) -> pl.DataFrame:
    """Add how wires and band lie: arrangement, level, distances, pattern, crossing, knots."""
    n = procedures.height
    draws = {name: pl.Series(rng.random(n)) for name in ("lie", "level", "cross", "knots", "loop")}
    along, apart = pl.Series(rng.uniform(0.55, 0.95, n)), pl.Series(rng.normal(0, 0.15, n))
    pinned = pl.col("kwire_count").is_not_null()
    banded = pl.col("tension_band_done").fill_null(value=False)

    def either(name: str, share: float, usual: str, other: str) -> pl.Expr:
        return pl.when(pl.lit(draws[name]) < share).then(pl.lit(usual)).otherwise(pl.lit(other))

    from_cut = (pl.col("tibial_depth_mm") * pl.lit(along)).clip(4.0).round(1)
    single = pl.col("kwire_count") == 1
    eight = banded & (pl.col("tb_pattern") == "figure_of_eight")
    return procedures.with_columns(
        kwire_arrangement=pl.when(pinned & single).then(pl.lit("single")).when(pinned).then(
            either("lie", 0.65, "side_by_side", "proximodistal")
        ),
        kwire_level=pl.when(pinned).then(
            either("level", 0.85, "proximal_to_insertion", "at_insertion")
        ),
        kwire_distance_mm=pl.when(pinned).then(from_cut),
        tb_hole_distance_mm=pl.when(banded & pinned).then(
            (from_cut * (-0.05 + pl.lit(apart)).exp()).clip(2.5).round(1)
        ),
        tb_pattern=pl.when(banded).then(either("loop", 0.93, "figure_of_eight", "simple_loop")),
        tb_twists=pl.when(banded).then(1 + (pl.lit(draws["knots"]) < 0.7).cast(pl.Int64)),
    ).with_columns(
        tb_crossing=pl.when(eight).then(
            either("cross", 0.96, "over_tuberosity", "distal_to_tuberosity")
        ),
    )  # fmt: skip


def readings(case: Case) -> list[Row]:
    """Give what each reader measured on the image taken right after surgery; a third read twice.

    Seeded by the stifle itself, so that no other draw of the study depends on it.
    """
    facts = case.facts
    if facts["osteotomy_depth_mm"] is None or case.operated.year < FIRST_YEAR:
        return []
    code = f"{facts['local_stifle']} {facts['osteotomy_depth_mm']} {facts['tibial_depth_mm']}"
    rng = np.random.default_rng(zlib.crc32(code.encode()))
    rereads = rng.random() < 1 / 3
    rows: list[Row] = []
    for place, reader in enumerate(READERS):
        for read_no in (1, 2) if rereads and place == 0 else (1,):
            seen = {
                name: max(float(facts[name]) + BIAS_MM[place] + float(rng.normal(0, spread)), 1.2)
                for name, spread in SPREAD_MM.items()
            }
            rows.append({"rater_id": reader, "read_no": read_no}
                        | {name: round(value, 1) for name, value in seen.items()})  # fmt: skip
    return rows
