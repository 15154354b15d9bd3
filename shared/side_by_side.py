"""Independent pieces of work two at a time, with the results in the order of the pieces."""

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Piece = TypeVar("Piece")
Made = TypeVar("Made")
Other = TypeVar("Other")
AT_A_TIME = 2  # the libraries have threads of their own; more pieces would only hold more memory


def side_by_side(make: Callable[[Piece], Made], pieces: Iterable[Piece]) -> list[Made]:
    """Make one thing of each piece; of several errors the first in order is raised, as in a loop.

    Parameters
    ----------
    make
        Changes nothing that another call of it sees.
    """
    listed = list(pieces)
    if len(listed) < AT_A_TIME:
        return [make(piece) for piece in listed]
    with ThreadPoolExecutor(AT_A_TIME) as hands:
        return list(hands.map(make, listed))


def both(first: Callable[[], Made], second: Callable[[], Other]) -> tuple[Made, Other]:
    """Make two things at once that know nothing of each other; of two errors the first counts."""
    with ThreadPoolExecutor(1) as hand:
        other = hand.submit(second)
        return first(), other.result()
