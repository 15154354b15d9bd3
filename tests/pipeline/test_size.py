"""`sulca size`: worked examples through the command, and numbers that cannot be asked."""

import json
from typing import Any


def test_a_hazard_ratio_of_schoenfeld(run_sulca: Any) -> None:
    """Schoenfeld 1983, from memory: 66 events for a ratio of 0.5; a tenth with the event."""
    done = run_sulca("size", "hazard-ratio", "--ratio", "0.5", "--risk", "0.1", "--json")
    assert done.returncode == 0, done.stderr
    counts = json.loads(done.stdout)["counts"]
    assert counts["events"] == 66
    assert counts["stifles"] == 654


def test_pairs_of_an_animal_ask_for_more(run_sulca: Any) -> None:
    """Two risks of the R manual, verified: 76.7 an arm; times 1 + (1.5 - 1) 0.4 = 1.2."""
    asked = ("size", "risks", "--one", "0.5", "--other", "0.75", "--power", "0.9")
    plain = json.loads(run_sulca(*asked, "--json").stdout)["counts"]
    paired = run_sulca(*asked, "--stifles-per-animal", "1.5", "--correlation", "0.4", "--json")
    assert plain["stifles, two proportions"] == 154
    assert json.loads(paired.stdout)["counts"]["stifles, two proportions"] == 185


def test_a_prediction_model_of_riley(run_sulca: Any) -> None:
    """Riley et al. 2020, verified: 662 with 24 parameters, R2 0.288 and a risk of 0.174."""
    done = run_sulca(
        "size", "prediction", "--parameters", "24", "--r-squared", "0.288", "--risk", "0.174"
    )
    assert "stifles                             662" in done.stdout
    assert "For planning only" in done.stdout


def test_a_number_that_cannot_be_asked_is_named(run_sulca: Any) -> None:
    done = run_sulca("size", "hazard-ratio", "--ratio", "1", "--risk", "0.1")
    assert done.returncode == 2
    assert "ratio must be above 0 and not 1, got 1" in done.stderr
    assert "Traceback" not in done.stderr
