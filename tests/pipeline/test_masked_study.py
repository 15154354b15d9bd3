"""A clinic of the demo, masked before it was sent, is read and checked like the open one."""

import shutil
from importlib.resources import files
from pathlib import Path

import polars as pl
import pytest

from pipeline.check import Checked
from pipeline.mask import mask_file
from pipeline.mask_tokens import animal_token
from pipeline.run import Run, cohort_study

DEMO = Path(str(files("shared") / "demo"))
KEY = bytes(range(60, 110))
FILES = ("stifles.csv", "rechecks.csv", "complications.csv", "images.csv")
# What changes in the mapping of a clinic once its files are masked.
EDITS = {
    "dates_shifted = false": "dates_shifted = true",
    'formats = ["DD/MM/YYYY"]': 'formats = ["YYYY-MM-DD"]',
    '"Patient No"': '"local_animal"',
    'surgeon_id = "Surgeon"': 'surgeon_id = "surgeon_id"',
    'ignore = ["Comment"]\n': "",
    'age_months = { column = "Date of birth", as = "birth_date" }':
        'age_months = "age_months"\nsurgery_year = "surgery_year"\nlock_day = "lock_day"',
}  # fmt: skip
DATED = {"stifles": ["end_of_followup_day"], "rechecks": ["recheck_day"],
         "complications": ["detected_day"], "revisions": ["revision_day"]}  # fmt: skip


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Run, Run]:
    """The clinic as it is, and masked."""
    folder = tmp_path_factory.mktemp("masked")
    plain, masked, own = folder / "plain", folder / "masked", folder / "own"
    own.mkdir()
    (own / "network.key").write_bytes(KEY)
    (own / "network.key").chmod(0o600)
    mapping = (DEMO / "mappings" / "north.toml").read_text("utf-8")
    shutil.copytree(DEMO / "exports" / "north", plain / "exports" / "north")
    for name in FILES:
        mask_file(plain / "exports" / "north" / name, own / "network.key",
                  out=folder / "sent" / name,
                  config_path=Path(__file__).parent / "mask_north.toml")  # fmt: skip
        (masked / "exports" / "north").mkdir(parents=True, exist_ok=True)
        shutil.copy(folder / "sent" / name, masked / "exports" / "north")
    changed = mapping
    for old, new in EDITS.items():
        assert old in changed
        changed = changed.replace(old, new)
    for study, text in ((plain, mapping), (masked, changed)):
        (study / "mappings").mkdir()
        shutil.copy(DEMO / "study.toml", study)
        (study / "mappings" / "north.toml").write_text(text, "utf-8")
    return cohort_study(plain, lambda _: None), cohort_study(masked, lambda _: None)


@pytest.fixture(scope="module")
def both(runs: tuple[Run, Run]) -> tuple[Checked, Checked]:
    return runs[0].checked, runs[1].checked


def tokens(plain: Checked) -> dict[str, str]:
    codes = plain.tables["animals"]["local_animal"].to_list()
    return {code: animal_token(KEY, "north", code) for code in codes}


def test_masking_stops_no_row_that_was_not_stopped(both: tuple[Checked, Checked]) -> None:
    plain, masked = both
    assert masked.stopped.height <= plain.stopped.height
    assert set(masked.stopped["rule"]) <= set(plain.stopped["rule"])


def test_masking_asks_nothing_new(both: tuple[Checked, Checked]) -> None:
    plain, masked = both
    counts = [item.findings.group_by("rule").len().sort("rule").rows() for item in both]
    before, after = (dict(rows) for rows in counts)
    assert {rule: n for rule, n in after.items() if n > before.get(rule, 0)} == {}
    assert plain.findings.height >= masked.findings.height > 0


@pytest.mark.parametrize("table", list(DATED))
def test_days_after_surgery_are_the_same(both: tuple[Checked, Checked], table: str) -> None:
    plain, masked = both
    known = tokens(plain)
    columns = ["local_stifle", *DATED[table]]
    stifle = pl.col("local_stifle")
    there = plain.tables[table].select(columns).with_columns(
        pl.concat_str(
            stifle.str.extract("^(.*):").replace_strict(known, return_dtype=pl.String),
            pl.lit(":"), stifle.str.extract(":([a-z]+)$"),
        ).alias("local_stifle")
    )  # fmt: skip
    here = masked.tables[table].select(columns)
    kept = there.join(here.select("local_stifle").unique(), on="local_stifle", how="semi")
    assert here.height > 20
    lost = kept.height - here.height
    assert 0 <= lost <= 1  # the one recheck after the data lock stays at the clinic
    assert here.join(kept, on=columns, how="anti", nulls_equal=True).is_empty()


def test_true_years_locks_and_ages_arrive(both: tuple[Checked, Checked]) -> None:
    plain, masked = both
    lock = pl.col("data_lock_date") - pl.col("surgery_date")
    there = plain.tables["stifles"].join(
        plain.tables["clinics"].select("clinic_id", "data_lock_date"), on="clinic_id"
    ).select(
        pl.col("local_animal").replace_strict(tokens(plain), return_dtype=pl.String), "side",
        year=pl.col("surgery_date").dt.year(), lock=lock.dt.total_days(), age="age_months",
        true_date="surgery_date",
    )  # fmt: skip
    joined = masked.tables["stifles"].join(there, on=["local_animal", "side"])
    assert joined.height == masked.tables["stifles"].height
    assert (joined["surgery_year"] == joined["year"]).all()
    assert (joined["lock_day"] == joined["lock"]).all()
    differences = joined.select(
        days=(pl.col("surgery_date") - pl.col("true_date")).dt.total_days().abs(),
    )
    assert joined["age_months"].equals(joined["age"].alias("age_months"))
    assert differences.filter(pl.col("days").is_between(1, 182).not_()).is_empty()


def test_sessions_of_an_animal_stay_in_order(both: tuple[Checked, Checked]) -> None:
    plain, masked = both
    known = tokens(plain)
    gaps: list[dict[str, int]] = []
    for item, name in ((plain, known), (masked, None)):
        rows = item.tables["stifles"].group_by("local_animal", maintain_order=True).agg(
            gap=(pl.col("surgery_date").max() - pl.col("surgery_date").min()).dt.total_days()
        )  # fmt: skip
        gaps.append({name[code] if name else code: gap for code, gap in rows.iter_rows()})
    assert all(gaps[0][code] == gap for code, gap in gaps[1].items())
    assert any(gap > 0 for gap in gaps[1].values())


def test_the_cohort_has_the_same_outcomes(runs: tuple[Run, Run]) -> None:
    plain, masked = runs
    known = tokens(plain.checked)
    outcomes = [
        "side", "left_at", "session_type", "surgery_year", "admin_end_day", "age_months",
        "last_adequate_day", "last_contact_day", "relux_day", "relux_state", "implant_day",
        "implant_state", "end_status", "relux_by_365",
    ]  # fmt: skip
    animal = pl.col("local_stifle").str.extract("^(.*):")
    there = plain.the_cohort.table.select(
        animal.replace_strict(known, return_dtype=pl.String).alias("animal"), *outcomes
    )
    here = masked.the_cohort.table.select(animal.alias("animal"), *outcomes)
    kept = there.join(here, on=["animal", "side"], how="semi")
    assert here.height == kept.height > 200
    differ = here.join(kept, on=["animal", *outcomes], how="anti", nulls_equal=True)
    assert (
        differ.height <= 1
    )  # the joint whose one recheck after the data lock stayed at the clinic
