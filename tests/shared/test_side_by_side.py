"""Work done two pieces at a time is what a loop would have done."""

import threading

import pytest

from shared.side_by_side import both, side_by_side


@pytest.mark.parametrize("n", [0, 1, 2, 7])
def test_results_come_in_the_order_of_the_pieces(n: int) -> None:
    assert side_by_side(lambda piece: piece * piece, range(n)) == [k * k for k in range(n)]


def test_two_pieces_are_in_work_at_once() -> None:
    both = threading.Barrier(2, timeout=20)  # either would wait for ever for the other
    assert side_by_side(lambda name: (both.wait(), name)[1], ["first", "second"]) == [
        "first", "second",
    ]  # fmt: skip


def test_the_first_error_in_order_counts_whichever_comes_first() -> None:
    second_failed = threading.Event()

    def failing(name: str) -> None:
        if name == "first":
            second_failed.wait(20)
        else:
            second_failed.set()
        raise ValueError(name)

    with pytest.raises(ValueError, match="first"):
        side_by_side(failing, ["first", "second"])


def test_both_are_in_work_at_once_and_come_in_their_order() -> None:
    meeting = threading.Barrier(2, timeout=20)
    assert both(lambda: (meeting.wait(), 1)[1], lambda: (meeting.wait(), "two")[1]) == (1, "two")


@pytest.mark.parametrize(("first_fails", "raised"), [(True, "first"), (False, "second")])
def test_of_both_the_first_error_counts_whichever_comes_first(
    first_fails: bool, raised: str
) -> None:
    second_failed = threading.Event()

    def first() -> None:
        second_failed.wait(20)
        if first_fails:
            raise ValueError("first")

    def second() -> None:
        second_failed.set()
        raise ValueError("second")

    with pytest.raises(ValueError, match=raised):
        both(first, second)
