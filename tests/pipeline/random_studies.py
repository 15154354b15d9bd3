"""Random studies: simulated tables, changed at random so that every clause of the cohort is met."""

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.simulate.simulated import simulate_study
from schemas.codebook import by_name
from tests.pipeline.invented import CODEBOOK, Tables, planned

KNOWN = by_name(CODEBOOK)
WAYS = ("medial", "lateral", "bidirectional", None)


class Random:
    """Changes of tables, drawn from one seed."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng([seed, 5])

    def some(self, frame: pl.DataFrame, share: float) -> pl.Series:
        """Mark a share of the rows."""
        return pl.Series(self.rng.random(frame.height) < share)

    def drawn(self, frame: pl.DataFrame, choices: Sequence[object]) -> pl.Expr:
        """Draw one of the choices for each row."""
        picked = [choices[place] for place in self.rng.integers(0, len(choices), frame.height)]
        return pl.lit(pl.Series(picked))

    def put(self, frame: pl.DataFrame, share: float, **values: pl.Expr) -> pl.DataFrame:
        """Give a share of the rows other values, all of them together."""
        hit = pl.lit(self.some(frame, share))
        return frame.with_columns(
            pl.when(hit).then(value.cast(frame.schema[name])).otherwise(name).alias(name)
            for name, value in values.items()
        )


def random_tables(seed: int, n_stifles: int) -> Tables:
    """Simulate accepted tables and change them; odd seeds join animals over clinics too."""
    tables = disturbed(accepted(dict(simulate_study(seed, n_stifles).tables)), seed)
    return joined(tables, seed) if seed % 2 else tables


def accepted(tables: Tables) -> Tables:
    """Give simulated canonical tables the address columns of accepted rows."""
    return {
        name: frame.with_row_index("row", offset=2).select(
            pl.format("{}/{}/{}", "clinic_id", pl.lit(name), "row").alias("row_id"),
            pl.lit("simulated.csv").alias("file"),
            pl.lit("").alias("sheet"),
            pl.col("row").cast(pl.Int64),
            pl.lit("").alias("block"),
            *frame.columns,
            pl.lit(value=False).alias("derived"),
        )
        for name, frame in tables.items()
    }


def disturbed(tables: Tables, seed: int) -> Tables:
    """Change simulated rows at random, so that every clause of the definitions is met."""
    of = Random(seed)
    put, drawn = of.put, of.drawn
    seen, told = tables["rechecks"], tables["complications"]
    done, ends = tables["revisions"], tables["stifles"]
    seen = put(
        seen, 0.06, patella_grade=drawn(seen, (1, 2, 3)), patella_direction=drawn(seen, WAYS)
    )
    seen = put(seen, 0.05, recheck_mode=pl.lit("telephone"))
    told = put(told, 0.3, last_negative_day=pl.col("detected_day") - drawn(told, range(60)))
    told = put(told, 0.2, detected_by=drawn(told, ("owner_report", "imaging_only")))
    told = put(told, 0.05, intraoperative=pl.lit(value=True))
    told = put(
        told,
        0.3,
        complication_type=drawn(told, tuple(KNOWN["complication_type"].codes)),
        treatment=drawn(told, tuple(KNOWN["treatment"].codes)),
        severity_class=drawn(told, (*KNOWN["severity_class"].codes, None)),
        ssi_depth=drawn(told, (*KNOWN["ssi_depth"].codes, None)),
    )
    told = put(told, 0.05, detected_day=pl.lit(None))
    done = put(done, 0.4, revision_reason=drawn(done, tuple(KNOWN["revision_reason"].codes)))
    ends = put(ends, 0.1, end_status=drawn(ends, ("died", "euthanised", "amputated", "lost")))
    ends = put(
        ends, 0.1, luxation_direction=drawn(ends, WAYS), grade_preop=drawn(ends, (1, 2, None))
    )
    operated = tables["procedures"]
    operated = put(operated, 0.1, cruciate_procedure=drawn(operated, ("other", None)))
    return tables | {
        "rechecks": seen,
        "complications": told,
        "revisions": done,
        "stifles": ends,
        "procedures": operated,
        "implants": _implants(tables, of),
    }


def _implants(tables: Tables, of: Random) -> pl.DataFrame:
    """List two pieces for some of the joints, some of them taken out."""
    frame = tables["implants"]
    keys = tables["stifles"].filter(of.some(tables["stifles"], 0.4))
    keys = (
        pl.concat([keys, keys]).select("clinic_id", "local_stifle").with_row_index("row", offset=2)
    )
    out = pl.lit(of.some(keys, 0.4))
    kinds, why = KNOWN["implant_type"].codes, (*KNOWN["implant_removal_reason"].codes, None)
    drawn = keys.with_columns(
        implant_no="row",
        implant_type=of.drawn(keys, tuple(kinds)),
        implant_removed_day=pl.when(out).then(
            pl.lit(pl.Series(of.rng.integers(0, 900, keys.height)))
        ),
        implant_removal_reason=pl.when(out).then(of.drawn(keys, why)),
        row_id=pl.format("{}/implants/{}", "clinic_id", "row"),
        derived=pl.lit(value=False),
        file=pl.lit("drawn.csv"),
        sheet=pl.lit(""),
        block=pl.lit(""),
    )
    return drawn.select(
        (pl.col(name) if name in drawn.columns else pl.lit(None)).cast(kind).alias(name)
        for name, kind in frame.schema.items()
    )


def joined(tables: Tables, seed: int) -> Tables:
    """Make one animal of some pairs, move operations to one day, shift the dates of a clinic."""
    of = Random(seed + 7_000_000)
    animals, stifles = tables["animals"], tables["stifles"]
    owners = np.arange(animals.height)
    for _ in range(animals.height // 8):
        one, two = of.rng.integers(0, animals.height, 2)
        owners[two] = owners[one]
    tokens = pl.format("t{}", pl.lit(pl.Series(owners)))
    animals = animals.with_columns(link_token=pl.when(of.some(animals, 0.7)).then(tokens))
    stifles = of.put(stifles, 0.1, surgery_date=pl.lit(stifles["surgery_date"][0]))
    stifles = stifles.with_columns(
        lock_day=pl.lit(1500, pl.Int64),
        surgery_year=pl.col("surgery_date").dt.year().cast(pl.Int64),
    )
    operated = tables["procedures"]
    operated = operated.filter(of.some(operated, 0.97))
    operated = of.put(
        operated,
        0.2,
        sulcoplasty_type=pl.lit("none"),
        ttt_done=pl.lit(value=False),
        femoral_osteotomy=pl.lit("none"),
        medial_release=pl.lit("none"),
        lateral_imbrication=pl.lit(value=False),
        antirotational_suture=pl.lit(value=False),
    )
    clinics = tables["clinics"].sort("clinic_id")
    if seed % 4 == 1:
        shifted = pl.col("clinic_id") == clinics["clinic_id"][0]
        clinics = clinics.with_columns(dates_shifted=shifted)
    return tables | {
        "animals": animals,
        "stifles": stifles,
        "procedures": operated,
        "clinics": clinics,
    }


def planned_days(tables: Tables) -> pl.DataFrame:
    """Mark some days as planned, in steps of a week or a month."""
    steps = (
        ("rechecks", "recheck_day", 2, 4),
        ("complications", "detected_day", 3, 7),
        ("revisions", "revision_day", 2, 15),
    )
    return pl.concat(
        planned(dict.fromkeys(tables[table]["row_id"].gather_every(every), half), variable)
        for table, variable, every, half in steps
    )
