"""`sulca mask`: what leaves a clinic, what does not, and how the study reads it."""

import csv
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter

from pipeline.mask import mask_file
from pipeline.mask_tokens import animal_token, link_token, shift_days, surgeon_token
from shared.errors import InputFileError
from tests.pipeline.masking import KEY, PLANTED, SETTINGS, Clinic, by_animal, clinic_below, key


@pytest.fixture
def clinic(tmp_path: Path) -> Clinic:
    return clinic_below(tmp_path)


def test_columns_are_replaced_dropped_and_added(clinic: Clinic) -> None:
    assert list(clinic.rows()[0]) == [
        "local_animal", "Limb", "link_token", "surgeon_id", "Operated", "Last known", "Breed",
        "Weight", "surgery_year", "lock_day", "age_months",
    ]  # fmt: skip


def test_year_lock_and_age_are_those_of_the_true_dates(clinic: Clinic) -> None:
    first, second = by_animal(clinic.rows(), "P-1")
    assert (first["surgery_year"], second["surgery_year"]) == ("2021", "2021")
    assert int(first["lock_day"]) == (date(2023, 6, 30) - date(2021, 3, 15)).days
    assert (first["age_months"], second["age_months"]) == ("24", "27")
    assert first["surgeon_id"] == surgeon_token(key(), "north", "Dr. Brown")


def test_all_dates_of_an_animal_move_by_one_shift_and_intervals_stay(clinic: Clinic) -> None:
    rows = by_animal(clinic.rows(), "P-1")
    shift = shift_days(key(), link_token(key(), "900164000123456"))
    assert date.fromisoformat(rows[0]["Operated"]) == date(2021, 3, 15) + timedelta(days=shift)
    assert date.fromisoformat(rows[1]["Operated"]) == date(2021, 6, 20) + timedelta(days=shift)
    assert date.fromisoformat(rows[0]["Last known"]) == date(2021, 12, 20) + timedelta(days=shift)
    visits = by_animal(clinic.rows("rechecks.csv"), "P-1")
    assert date.fromisoformat(visits[0]["Visit"]) == date(2021, 4, 26) + timedelta(days=shift)
    assert rows[1]["Last known"] == "ND"


def test_an_animal_without_a_number_is_shifted_by_its_own_token(clinic: Clinic) -> None:
    (row,) = by_animal(clinic.rows(), "P-2")
    assert row["link_token"] == ""
    shift = shift_days(key(), animal_token(key(), "north", "P-2"))
    assert date.fromisoformat(row["Operated"]) == date(2020, 5, 5) + timedelta(days=shift)


def test_a_number_given_once_counts_for_all_rows_of_the_animal(clinic: Clinic) -> None:
    tokens = {row["link_token"] for row in by_animal(clinic.rows(), "P-1")}
    assert tokens == {link_token(key(), "900164000123456")}


def test_the_same_animal_at_two_clinics_has_one_token_and_one_shift(clinic: Clinic) -> None:
    here = by_animal(clinic.rows(), "P-1")[0]
    clinic.set('clinic_id = "north"', 'clinic_id = "lake"')
    clinic.set("P-1", "other-9", name="stifles.csv")
    clinic.set("900164000123456", "900 164 000 123 456", name="stifles.csv")
    rows = clinic.rows()
    there = next(row for row in rows if row["link_token"] == here["link_token"])
    assert there["local_animal"] != here["local_animal"]
    assert there["surgeon_id"] != here["surgeon_id"]
    assert there["Operated"] == here["Operated"]


def test_rows_outside_accrual_or_lock_stay_here_and_are_counted(clinic: Clinic) -> None:
    counts = clinic.mask().counts
    assert counts["set aside: operated outside the accrual period"] == 2
    assert counts["set aside: no day of surgery that is understood"] == 1
    assert counts["set aside: no animal code"] == 1
    assert counts["rows written"] == 4
    assert counts["transponder numbers that are none"] == 3
    assert counts["dates after the data lock, kept"] == 1
    clinic.set("accrual_end = 2022-12-31", "accrual_end = 2023-12-31")
    clinic.set("data_lock_date = 2023-06-30", "data_lock_date = 2023-01-01")
    assert clinic.mask().counts["set aside: operated after the data lock"] == 1


def test_follow_up_of_what_is_not_sent_stays_here_too(clinic: Clinic) -> None:
    counts = clinic.mask("rechecks.csv").counts
    assert counts["set aside: its operation is not sent"] == 2
    assert counts["set aside: seen after the data lock"] == 1
    assert [row["Patella"] for row in by_animal(clinic.rows("rechecks.csv"), "P-2")] == ["G1"]


@pytest.mark.parametrize("name", ["stifles.csv", "rechecks.csv"])
def test_every_row_has_one_fate(clinic: Clinic, name: str) -> None:
    counts = clinic.mask(name).counts
    fates = sum(count for label, count in counts.items() if label.startswith("set aside: "))
    fates += counts["rows written"] + counts["blank rows and titles"]
    assert counts["rows read"] == fates + counts["rows that do not fit the header"]


def test_nothing_planted_and_no_key_is_in_what_is_sent(clinic: Clinic) -> None:
    for name in ("stifles.csv", "rechecks.csv"):
        clinic.mask(name, codes=True)
    texts = {path.name: path.read_text("utf-8") for path in clinic.send.iterdir()}
    assert len(texts) == 4
    for text in texts.values():
        assert not [word for word in (*PLANTED, KEY, KEY[:16]) if word in text]


def test_rows_are_in_no_order_of_time(clinic: Clinic) -> None:
    tokens = [row["local_animal"] for row in clinic.rows()]
    assert tokens == sorted(tokens)


def test_cells_that_are_kept_are_kept_as_they_are(clinic: Clinic) -> None:
    """The study reads them as text: a mark against formulas would change what they say."""
    (row,) = by_animal(clinic.rows(), "P-5")
    assert (row["Breed"], row["Weight"], row["age_months"]) == ("=1+1", "-9", "")


def test_the_table_of_codes_stays_and_finds_an_animal_again(clinic: Clinic) -> None:
    clinic.mask(codes=True)
    clinic.mask("rechecks.csv", codes=True)
    path = clinic.own / "codes.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        found = {(row["what"], row["own code"]): row["token"] for row in csv.DictReader(handle)}
    assert found["animal", "P-1"] == animal_token(key(), "north", "P-1")
    assert found["surgeon", "Dr. Grey"] == surgeon_token(key(), "north", "Dr. Grey")
    assert path.stat().st_mode & 0o077 == 0
    with pytest.raises(InputFileError, match="beside what is sent"):
        mask_file(clinic.export / "stifles.csv", clinic.own / "network.key",
                  out=clinic.send / "a.csv", config_path=clinic.export / "mask.toml",
                  codes=clinic.send / "codes.csv")  # fmt: skip


def test_the_same_file_and_key_give_the_same_bytes(clinic: Clinic) -> None:
    first = clinic.mask().out.read_bytes()
    assert clinic.mask().out.read_bytes() == first


def test_one_row_with_both_sides_keeps_the_side_that_may_leave(clinic: Clinic) -> None:
    (clinic.export / "wide.csv").write_text(
        "Patient;Left;Right;Born\nP-7;01/02/2021;01/02/2019;01/02/2018\nP-8;01/02/2018;;\n", "utf-8"
    )
    (clinic.export / "mask.toml").write_text(
        SETTINGS[: SETTINGS.index("[[file]]")] + '[[file]]\npath = "wide.csv"\ndelimiter = ";"\n'
        '[file.columns]\nanimal = "Patient"\nsurgery_date = ["Left", "Right"]\n'
        'birth_date = "Born"\n',
        "utf-8",
    )
    (row,) = clinic.rows("wide.csv")
    assert (row["surgery_year Left"], row["age_months Left"]) == ("2021", "36")
    assert (row["Right"], row["surgery_year Right"], row["lock_day Right"]) == ("", "", "")
    counts = clinic.mask("wide.csv").counts
    assert counts["operations emptied, outside accrual or lock"] == 1


def test_a_workbook_is_masked_like_a_text_file(clinic: Clinic) -> None:
    book = xlsxwriter.Workbook(str(clinic.export / "book.xlsx"))
    sheet, days = book.add_worksheet("Ops"), book.add_format({"num_format": "yyyy-mm-dd"})
    sheet.write_row(0, 0, ["Patient", "Chip", "Operated", "Weight"])
    sheet.write_row(1, 0, ["P-7", 900164000123456])
    sheet.write_datetime(1, 2, date(2021, 3, 15), days)  # pyright: ignore[reportArgumentType]
    sheet.write_number(1, 3, 7.5)
    book.close()
    (clinic.export / "mask.toml").write_text(
        SETTINGS[: SETTINGS.index("[[file]]")] + '[[file]]\npath = "book.xlsx"\nsheet = "Ops"\n'
        '[file.columns]\nanimal = "Patient"\ntransponder = "Chip"\nsurgery_date = ["Operated"]\n'
        'keep = ["Weight"]\n',
        "utf-8",
    )
    (row,) = clinic.rows("book.xlsx")
    assert row["link_token"] == link_token(key(), "900164000123456")
    shift = shift_days(key(), row["link_token"])
    assert date.fromisoformat(row["Operated"]) == date(2021, 3, 15) + timedelta(days=shift)
    assert row["Weight"] == "7.5"


def test_the_command_tells_counts_and_no_content(
    clinic: Clinic, call_sulca: Callable[..., Any]
) -> None:
    out = clinic.send / "stifles.csv"
    done = call_sulca("mask", str(clinic.export / "stifles.csv"), "--key",
                     str(clinic.own / "network.key"), "--out", str(out))  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "4 of 8 rows are masked" in done.stdout
    assert not [word for word in (*PLANTED, KEY) if word in done.stdout + done.stderr]
    (clinic.own / "network.key").chmod(0o644)
    done = call_sulca("mask", str(clinic.export / "stifles.csv"), "--key",
                     str(clinic.own / "network.key"), "--out", str(out))  # fmt: skip
    assert done.returncode == 2
    assert "chmod 600" in done.stderr
    assert KEY not in done.stderr
