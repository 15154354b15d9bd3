"""Large invented exports: the demo's northern clinic tiled and perturbed, with a seed."""

from datetime import timedelta
from pathlib import Path

import numpy as np
import polars as pl

FIRST_DAY = pl.date(2015, 1, 5)
LAST_SURGERY = 3_400  # days after it; rechecks and farewells stay before the data lock
VISITS = 3
PADDING = ("NAD otherwise", "NAD, owner pleased", 'walks "like new", no pain', "seen\nwith sister")
SHARES = (0.5, 0.05, 0.01, 0.002)
# What a clinic mistypes: column, and text that is no value of it.
MISTYPED = {"Weight (kg)": "heavy", "Grade": "V", "Sex": "neutr.", "Pin (mm)": "25 mm",
            "Distal bridge": "see notes"}  # fmt: skip


def donors(exports: Path, asked: pl.DataFrame) -> pl.DataFrame:
    """Give the operations of one knee that no finding of the demo is about."""
    stifles = pl.read_csv(exports / "stifles.csv", infer_schema=False)
    named = asked.filter(pl.col("file") == "stifles.csv")["row"].to_list()
    numbered = stifles.with_row_index("row", offset=2)
    return numbered.filter(
        ~pl.col("row").is_in(named),
        pl.col("Session") == "unilateral",
        pl.col("Status").is_in(["signed off", "lost"]),
    ).drop("row")


def big_export(exports: Path, folder: Path, *, stifles: int, failing: int, asked: pl.DataFrame
               ) -> int:  # fmt: skip
    """Write stifles.csv, rechecks.csv and the other files empty; give their size in bytes."""
    rng = np.random.default_rng(1)
    donor = donors(exports, asked)
    rows = donor[rng.integers(0, donor.height, stifles)]
    operated = pl.Series(rng.integers(0, LAST_SURGERY, stifles))
    weight = rows["Weight (kg)"].cast(pl.Float64) * rng.uniform(0.97, 1.03, stifles)
    aged = _day(rows["Surgery date"]) - _day(rows["Date of birth"])
    day = pl.DataFrame({"day": operated}).select(FIRST_DAY + pl.duration(days="day")).to_series()
    rows = rows.with_columns(
        pl.Series("Patient No", _codes(stifles)),
        pl.Series("Token", _tokens(stifles)),  # two dogs alike are then no twins to ask about
        pl.Series("Limb", np.where(rng.random(stifles) < 0.5, "L", "R")),
        _text(day - aged).alias("Date of birth"),
        _text(day).alias("Surgery date"),
        _text(day + timedelta(days=275)).alias("Last known"),
        weight.round(1).cast(pl.String).alias("Weight (kg)"),
    )
    rows = _mistyped(rows, failing, rng)
    folder.mkdir(parents=True)
    rows.write_csv(folder / "stifles.csv")
    _rechecks(rows, day, rng).write_csv(folder / "rechecks.csv")
    for path in sorted(exports.glob("*.csv")):  # of every other file only the header
        if not (folder / path.name).exists():
            head = path.read_text("utf-8").splitlines()[0]
            (folder / path.name).write_text(head + "\n", "utf-8")
    return sum(path.stat().st_size for path in folder.iterdir())


def _rechecks(rows: pl.DataFrame, day: pl.Series, rng: np.random.Generator) -> pl.DataFrame:
    """Give each stifle its visits; comments carry commas, quotes and line breaks."""
    n = rows.height * VISITS
    visit = np.tile([42, 120, 250], rows.height) + rng.integers(0, 15, n)
    comment = rng.choice(np.array([*PADDING, ""], dtype=object), n, p=[*SHARES, 1 - sum(SHARES)])
    each = np.repeat(np.arange(rows.height), VISITS)
    return pl.DataFrame({
        "Patient No": rows["Patient No"][each], "Limb": rows["Limb"][each],
        "Visit date": _text(day[each] + pl.Series(visit * 86_400_000).cast(pl.Duration("ms"))),
        "Seen by": rng.choice(np.array(["Clinic", "Referring vet"], dtype=object), n),
        "Unscheduled": ["N"] * n, "Patella": ["stable"] * n, "Direction": [""] * n,
        "Lameness (0-5)": rng.choice(np.array(["0", "1", "2"], dtype=object), n),
        "Radiographs": rng.choice(np.array(["no", "healing", "healed"], dtype=object), n),
        "Comment": comment,
    })  # fmt: skip


def _mistyped(rows: pl.DataFrame, failing: int, rng: np.random.Generator) -> pl.DataFrame:
    """Spoil as many cells as asked, in equal parts over the columns of MISTYPED."""
    for name, text in MISTYPED.items():
        spoilt = np.zeros(rows.height, dtype=bool)
        spoilt[rng.choice(rows.height, failing // len(MISTYPED), replace=False)] = True
        rows = rows.with_columns(
            pl.when(pl.Series(spoilt)).then(pl.lit(text)).otherwise(name).alias(name)
        )
    return rows


def _codes(n: int) -> pl.Series:
    return pl.select("N-" + pl.int_range(n).cast(pl.String).str.zfill(7)).to_series()


def _tokens(n: int) -> pl.Series:
    """Make link tokens; a letter first, for digits first may look like a telephone number."""
    number = pl.int_range(n)
    parts = [number.hash(seed=seed).cast(pl.String).str.zfill(20) for seed in (1, 2)]
    return pl.select("t" + pl.concat_str(*parts)).to_series()


def _day(text: pl.Series) -> pl.Series:
    return text.str.to_date("%d/%m/%Y")


def _text(day: pl.Series) -> pl.Series:
    return day.dt.strftime("%d/%m/%Y")
