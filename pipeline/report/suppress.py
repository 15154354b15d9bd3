"""Small counts are hidden, and so is what would reveal them by subtraction."""

from collections.abc import Collection, Hashable, Mapping, Sequence
from typing import TypeVar

Key = TypeVar("Key", bound=Hashable)


def shown_count(count: int, *, smallest: int = 5) -> str:
    """Print a count as it may leave the coordinator: 1 to 4 read "<5"."""
    return f"<{smallest}" if 0 < count < smallest else f"{count:,}"


def hidden(
    counts: Mapping[Key, int],
    sums: Sequence[Sequence[Key]] = (),
    *,
    sensitive: Collection[Key] = (),
    smallest: int = 5,
) -> frozenset[Key]:
    """Say which counts must not be shown.

    Parameters
    ----------
    counts
        All counts that would be printed, totals too.
    sums
        Keys that are bound by a sum whose total is printed or known: where one alone is hidden
        it can be had by subtraction, so the smallest of the others is hidden with it, zeros too.
    sensitive
        Keys to hide whatever their count, for what stands beside it.
    smallest
        The least count that may be shown, other than zero.

    Returns
    -------
    frozenset
        Keys to hide. In no sum of `sums` is exactly one key hidden.
    """
    gone = {key for key, count in counts.items() if 0 < count < smallest} | set(sensitive)
    changed = True
    while changed:
        changed = False
        for group in sums:
            known = [key for key in group if key in counts]
            if sum(key in gone for key in known) == 1 and len(known) > 1:
                rest = [key for key in known if key not in gone]
                gone.add(min(rest, key=lambda key: (counts[key], known.index(key))))
                changed = True
    return frozenset(gone)
