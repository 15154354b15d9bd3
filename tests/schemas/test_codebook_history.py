"""A study written for another codebook is refused, and the changed variables are named."""

from dataclasses import replace

import pytest

from schemas.codebook import codebook_version, read_codebook
from schemas.codebook_history import (
    changed_since,
    declaration_hashes,
    read_history,
    require_version,
)
from shared.errors import PlanError

BOOK = read_codebook()


def test_present_codebook_stands_in_the_history() -> None:
    """A changed declaration needs a new entry: run `make codebook`."""
    assert read_history()[codebook_version(BOOK)] == declaration_hashes(BOOK)


def test_present_version_is_accepted() -> None:
    require_version("study.toml", codebook_version(BOOK), BOOK)


def test_changed_variable_is_named() -> None:
    changed = tuple(
        replace(item, limits=("1", "200")) if item.name == "weight_kg" else item for item in BOOK
    )
    assert changed_since(codebook_version(BOOK), changed) == ("stifles.weight_kg",)
    with pytest.raises(PlanError, match=r"changed since: stifles\.weight_kg"):
        require_version("study.toml", codebook_version(BOOK), changed)


@pytest.mark.parametrize(("version", "says"), [("", "does not say"), ("0" * 12, "not known here")])
def test_absent_or_unknown_version_is_refused(version: str, says: str) -> None:
    with pytest.raises(PlanError, match=says):
        require_version("study.toml", version, BOOK)
