"""What the switches leave is what the cohort leaves; saving writes the protocol or nothing."""

import json
import re
from dataclasses import replace

import pytest

from pipeline.cohort import build_cohort
from pipeline.explore.explorer import Explorer, sent_of
from pipeline.study import read_study


def numbers(part: str) -> dict[str, tuple[str, str]]:
    """Read the table of a piece of the page: label to saved and now."""
    cells = re.findall(r'<th scope="row">(.*?)</th><td>(.*?)</td>\s*<td>(.*?)</td>', part)
    return {label: (saved, now) for label, saved, now in cells}


def test_nothing_moves_while_the_switches_stand_as_saved(explorer: Explorer) -> None:
    found = numbers(explorer.preview(sent_of(explorer.study)))
    assert found
    assert all(saved == now for saved, now in found.values())


def test_a_moved_switch_leaves_what_the_cohort_leaves(explorer: Explorer) -> None:
    found = numbers(explorer.preview(
        sent_of(explorer.study) | {"eligibility.grades": ["3", "4"]}))  # fmt: skip
    protocol = replace(explorer.study.eligibility, grades=(3, 4))
    cohort = build_cohort(explorer.linked, replace(explorer.study, eligibility=protocol))
    before = build_cohort(explorer.linked, explorer.study)
    assert found["Stifles, A, all eligible"] == (
        str(before.counts["set_a"]), str(cohort.counts["set_a"])
    )  # fmt: skip
    assert found["Stifles, D, transpositions held with K-wires"][1] == str(cohort.counts["set_d"])
    events = cohort.table.filter("set_b")["relux_state"].eq("reluxation").sum()
    assert found["Reluxations, set B"][1] == str(events)


def test_no_number_tells_an_outcome_by_technique(explorer: Explorer) -> None:
    part = explorer.preview(sent_of(explorer.study))
    assert "wedge" not in part
    assert "block_recession" not in part


def test_saving_writes_the_protocol_and_keeps_the_rest(explorer: Explorer) -> None:
    before = explorer.path.read_text("utf-8")
    told = explorer.save(sent_of(explorer.study) | {
        "eligibility.grades": ["3", "4"], "outcomes.window_days": "14"})  # fmt: skip
    assert "Saved in study.toml" in told
    after = read_study(explorer.study.folder)
    assert (after.eligibility.grades, after.outcomes.window_days) == ((3, 4), 14)
    changed = {line for line in explorer.path.read_text("utf-8").splitlines()
               if line not in before.splitlines()}  # fmt: skip
    assert len(changed) == 2
    again = numbers(explorer.preview(sent_of(explorer.study)))
    assert all(saved == now for saved, now in again.values())


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"eligibility.species": ["cat"], "eligibility.direction": ["bidirectional"],
          "eligibility.grades": ["1"]}, "nobody is left in the cohort"),
        ({"eligibility.species": []}, "is empty, so that nobody can be included"),
        ({"eligibility.accrual_start": "2020-01-02", "eligibility.accrual_end": "2019-01-01"},
         "accrual ends"),
        ({"outcomes.horizons": "soon"}, "cannot be read"),
        ({"outcomes.window_days": None}, "cannot be read"),
    ],
)  # fmt: skip
def test_what_leaves_nobody_or_contradicts_is_said_and_not_saved(
    explorer: Explorer, changes: dict[str, object], told: str
) -> None:
    before = explorer.path.read_bytes()
    sent = sent_of(explorer.study) | changes
    assert told in explorer.preview(sent)
    assert told in explorer.save(sent)
    assert explorer.path.read_bytes() == before


def test_a_study_file_that_somebody_changed_is_not_written_over(explorer: Explorer) -> None:
    other = explorer.text + "# a colleague was here\n"
    explorer.path.write_text(other, "utf-8")
    told = explorer.save(sent_of(explorer.study) | {"eligibility.grades": ["4"]})
    assert "changed since this page was opened" in told
    assert explorer.path.read_text("utf-8") == other


def test_a_study_that_was_analysed_is_told_of_deviations(explorer: Explorer) -> None:
    assert "is a deviation" not in explorer.page()
    manifest = explorer.path.parent / "out" / "run.json"
    manifest.parent.mkdir()
    first = {"time": "2024-02-03T04:05:06+00:00", "plan": {}}
    manifest.write_text(json.dumps({"first_analysis": first}), "utf-8")
    assert "first analysed at 2024-02-03T04:05:06+00:00" in explorer.page()
    manifest.write_text('{"first_analysis": "yesterday"}', "utf-8")
    assert "it is not what a run writes" in explorer.page()
