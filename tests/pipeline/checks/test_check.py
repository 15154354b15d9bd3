"""The whole check on small studies: what is accepted, stopped, held, derived and asked."""

from collections.abc import Callable

from pipeline.check import Checked, check
from pipeline.intake.mapped import Mapped
from schemas.codebook import Variable

Codebook = tuple[Variable, ...]
Build = Callable[..., Mapped]


def rules(checked: Checked) -> set[str]:
    return set(checked.findings["rule"])


def test_a_clean_study_is_accepted_whole_and_asked_nothing(build: Build, codebook: Codebook
                                                           ) -> None:  # fmt: skip
    checked = check(build(), codebook)
    assert checked.findings.rows() == []
    assert checked.holds.is_empty()
    assert checked.stopped.is_empty()
    assert checked.tables["stifles"].height == 3
    assert not checked.tables["stifles"]["derived"].any()
