"""`sulca mask`: what is not declared, looks identifying or does not fit is refused."""

from pathlib import Path

import pytest

from shared.errors import InputFileError, MappingError, StudyError
from tests.pipeline.masking import PLANTED, SETTINGS, Clinic, clinic_below


@pytest.fixture
def clinic(tmp_path: Path) -> Clinic:
    return clinic_below(tmp_path)


@pytest.mark.parametrize(
    ("old", "new", "error", "says"),
    [
        ('"Owner", ', "", MappingError, 'the column "Owner" is not declared'),
        ('keep = ["Breed"', 'keep = ["Bread"', MappingError, 'column "Breed" is not declared'),
        ('drop = ["Owner", "Remark"]', 'drop = ["Owner", "Remark", "Gone"]', MappingError,
         'no column "Gone"'),
        ('drop = ["Owner", "Remark"]\nkeep = [', 'drop = ["Remark"]\nkeep = ["Owner", ',
         InputFileError, 'column "Owner" looks like'),
        ('drop = ["Owner", "Remark"]\nkeep = [', 'drop = ["Owner"]\nkeep = ["Remark", ',
         InputFileError, 'column "Remark" looks like'),
        ('dates = ["Last known"]\n', "", MappingError, 'column "Last known" is not declared'),
        ('animal = "Patient"\nside = "Limb"\ntransponder', "transponder", MappingError,
         "animal's code"),
        ('side = "Limb"\ntransponder', 'sides = "Limb"\ntransponder', MappingError,
         'Did you mean "side"'),
        ("accrual_start = 2020-01-01\n", "", MappingError, "accrual_start"),
        ('surgery_date = ["Operated"]\n', "", MappingError, "needs the day of surgery"),
        ('clinic_id = "north"', 'clinic_id = "north:1"', MappingError, "no plain code"),
        ('surgeon = "Vet"', 'surgeon = "Patient"', MappingError, "declared twice"),
    ],
)  # fmt: skip
def test_what_is_not_declared_or_looks_identifying_is_refused(
    clinic: Clinic, old: str, new: str, error: type[StudyError], says: str
) -> None:
    clinic.set(old, new)
    with pytest.raises(error, match=says) as caught:
        clinic.mask()
    assert list(clinic.send.iterdir()) == []
    assert not [word for word in PLANTED if word in str(caught.value)]


def test_a_date_of_birth_cannot_be_kept(clinic: Clinic) -> None:
    clinic.set('birth_date = "Born"\n', "")
    clinic.set('keep = ["Breed"', 'keep = ["Born", "Breed"')
    with pytest.raises(InputFileError, match='"Born"'):
        clinic.mask()


def test_a_kept_date_is_refused_unless_it_is_declared_harmless(clinic: Clinic) -> None:
    clinic.set('dates = ["Last known"]\n', "")
    clinic.set('keep = ["Breed"', 'keep = ["Last known", "Breed"')
    with pytest.raises(InputFileError, match='"Last known" holds dates'):
        clinic.mask()
    text = '[[not_identifying]]\ncolumn = "Last known"\nkinds = ["date"]\nbecause = "made up"\n'
    clinic.set(SETTINGS[-20:], SETTINGS[-20:] + text)
    assert clinic.mask().counts["rows written"] == 4


def test_an_animal_with_two_numbers_is_refused_without_showing_them(clinic: Clinic) -> None:
    clinic.set("P-1,R,,", "P-1,R,900164000000001,", name="stifles.csv")
    with pytest.raises(InputFileError, match="another transponder number") as caught:
        clinic.mask()
    assert "900164" not in str(caught.value)
    assert "row 3" in str(caught.value)


def test_a_file_is_not_shifted_apart_from_the_one_that_tells_the_numbers(clinic: Clinic) -> None:
    (clinic.export / "stifles.csv").unlink()
    with pytest.raises(InputFileError, match=r"stifles\.csv"):
        clinic.mask("rechecks.csv")
    assert list(clinic.send.iterdir()) == []
