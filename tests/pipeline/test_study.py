"""study.toml: what it gives, and how it says what is wrong."""

from datetime import date
from pathlib import Path

import pytest

from pipeline.plan import parse_analyses
from pipeline.study import Study, read_study
from shared.errors import InputFileError, PlanError

DEMO = Path(__file__).parents[2] / "shared" / "demo"


def study(folder: Path, text: str) -> Study:
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return read_study(folder)


def test_a_title_is_enough_and_the_rest_has_the_protocols_defaults(tmp_path: Path) -> None:
    read = study(tmp_path, 'title = "Groove"\n')
    assert (read.title, read.question, read.seed) == ("Groove", "not stated", 1)
    assert read.eligibility.grades == (2, 3, 4)
    assert read.eligibility.cruciate_procedure == "out_of_implant_outcomes"
    assert (read.outcomes.window_days, read.outcomes.death_window_days) == (28, 91)
    assert read.outcomes.horizons == (91, 183, 365)
    assert read.privacy.small_cell == 5
    assert read.statements.funding == "not stated"
    assert read.analyses == ()


def test_switches_are_read_with_their_types(tmp_path: Path) -> None:
    read = study(tmp_path, """
        title = "Groove"
        seed = 7
        [eligibility]
        species = ["dog", "cat"]
        accrual_start = 2016-01-01
        groove_replacement = true
        [[eligibility.exclude]]
        column = "aetiology"
        values = ["traumatic"]
        label = "traumatic luxation"
        [statements]
        ethics = "Reference 12/2025"
        funding = "  "
        [[analysis]]
        id = "one"
        model = "cox"
    """)  # fmt: skip
    assert read.eligibility.accrual_start == date(2016, 1, 1)
    assert read.eligibility.exclude[0].values == ("traumatic",)
    assert (read.statements.ethics, read.statements.funding) == ("Reference 12/2025", "not stated")
    assert read.analyses[0]["id"] == "one"
    assert read.seed == 7


def test_clinics_are_those_with_a_mapping_or_an_export(tmp_path: Path) -> None:
    (tmp_path / "mappings").mkdir()
    (tmp_path / "mappings" / "valley.toml").touch()
    (tmp_path / "mappings" / "north.toml.example").touch()
    (tmp_path / "exports" / "lake").mkdir(parents=True)
    assert study(tmp_path, 'title = "Groove"').clinics == ("lake", "valley")


def test_the_demo_study_and_its_plan_are_read() -> None:
    read = read_study(DEMO)
    analyses = parse_analyses(list(read.analyses))
    primary = [item.id for item in analyses if item.role == "primary"]
    assert primary == ["relux_risk", "relux_hazard", "band_risk", "band_hazard", "wires_risk",
                       "wires_hazard"]  # fmt: skip
    of_surgeons = [item.id for item in analyses if item.random_intercept == "surgeon_id"]
    assert of_surgeons == ["learning_curve"]
    assert all(item.cluster == "animal_id" for item in analyses if item.id not in of_surgeons)
    assert read.statements.funding == "not stated"


@pytest.mark.parametrize(
    ("text", "what", "do"),
    [
        ('titel = "x"', 'the key "titel" is unknown', 'Did you mean "title"?'),
        ('title = "x"\n[eligibility]\ngrade = [2]', 'the key "grade" is unknown', "grades"),
        ('title = "x"\n[eligibilty]\n', 'the key "eligibilty" is unknown', "eligibility"),
        ("seed = 1", "no title", "title ="),
        ('title = "x"\nseed = "1"', '"seed" must be a whole number', "Correct"),
        ('title = "x"\nseed = true', '"seed" must be a whole number', "Correct"),
        ('title = "x"\n[eligibility]\nspecies = ["horse"]', "must be one of dog, cat", "Correct"),
        ('title = "x"\n[eligibility]\nspecies = "dog"', "must be a list", "Correct"),
        ('title = "x"\n[eligibility]\ngrades = [2, 2]', "names each once", "Correct"),
        ('title = "x"\n[eligibility]\nspecies = []', "nobody can be included", "Name at least one"),
        ('title = "x"\n[eligibility]\naccrual_end = "2020"', "must be a date", "Correct"),
        ('title = "x"\n[outcomes]\nhorizons = [0]', "1 or later", "horizons ="),
        (
            'title = "x"\n[outcomes]\nhorizons = [365, 28]',
            "window_days (28) reaches from the first horizon (28) back to the operation",
            "shorter than the first",
        ),
        (
            'title = "x"\n[eligibility]\ngrades = [3]\n[[eligibility.exclude]]'
            '\ncolumn = "grade_preop"\nvalues = ["3", "4"]\nlabel = "severe"',
            '"severe" excludes all of it',
            "Change grades",
        ),
        ('title = "x"\n[outcomes]\nchanges_construct = ["reluxation"]', "must be one of", "Corr"),
        ('title = "x"\nprivacy = 5', "it is no table", "[privacy]"),
        ('title = "x"\n[analysis]\nid = "a"', "doubled brackets", "Correct"),
        ('title = "x"\n[[eligibility.exclude]]\ncolumn = "bcs"', '"values" is missing', "Add"),
    ],
)
def test_a_wrong_key_or_value_is_named_with_the_way_out(
    tmp_path: Path, text: str, what: str, do: str
) -> None:
    with pytest.raises(PlanError) as caught:
        study(tmp_path, text)
    assert what in caught.value.what
    assert do in caught.value.do
    assert "study.toml" in caught.value.where


def test_accrual_that_ends_before_it_starts_is_refused(tmp_path: Path) -> None:
    dates = "accrual_start = 2020-01-01\naccrual_end = 2019-01-01"
    with pytest.raises(PlanError, match="accrual ends"):
        study(tmp_path, f'title = "x"\n[eligibility]\n{dates}')


def test_bad_toml_is_named_with_its_line(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match="line 2"):
        study(tmp_path, 'title = "x"\nseed = \n')


def test_a_missing_file_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match="sulca new"):
        read_study(tmp_path / "nowhere")
