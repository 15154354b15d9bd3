"""Which declarations each released codebook held, so that a mismatch can name what changed."""

import hashlib
import json
from collections.abc import Iterable
from importlib.resources import files

from schemas.codebook import CANONICAL_TABLES, Variable, codebook_version
from shared.errors import PlanError


def declaration_hashes(codebook: Iterable[Variable]) -> dict[str, str]:
    """Give a short hash of each declaration, keyed by ``table.variable``."""
    return {
        f"{item.table}.{item.name}": hashlib.sha256(repr(item).encode()).hexdigest()[:8]
        for item in codebook
        if item.table in CANONICAL_TABLES
    }


def read_history() -> dict[str, dict[str, str]]:
    """Read shared/codebook/history.json: the declarations of every version, by version."""
    return json.loads((files("shared") / "codebook" / "history.json").read_text("utf-8"))


def changed_since(version: str, codebook: Iterable[Variable]) -> tuple[str, ...] | None:
    """Name the variables that differ from a version; None where that version is not known."""
    before = read_history().get(version)
    if before is None:
        return None
    now = declaration_hashes(codebook)
    return tuple(name for name in sorted({*before, *now}) if before.get(name) != now.get(name))


def require_version(where: str, version: str, codebook: tuple[Variable, ...]) -> None:
    """Refuse a file written for another codebook.

    Parameters
    ----------
    where
        The file that states the version.
    version
        What it states; blank where it states none.
    codebook
        The project's own declarations, without a study's.

    Raises
    ------
    PlanError
        If the version is absent or not the present one; the changed variables are named.
    """
    now = codebook_version(codebook)
    if version == now:
        return
    if not version:
        what = "it does not say for which codebook it was written"
    else:
        changed = changed_since(version, codebook)
        what = f"it was written for codebook {version}, this program has {now}; " + (
            "that version is not known here"
            if changed is None
            else f"changed since: {', '.join(changed)}"
        )
    raise PlanError(
        where, what, do=f'Look at those variables, then write codebook_version = "{now}".'
    )
