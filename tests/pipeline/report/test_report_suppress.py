"""Small counts, and what would reveal them."""

from hypothesis import given as drawn
from hypothesis import strategies as st

from pipeline.report.suppress import hidden, shown_count


def test_small_counts_read_less_than_five() -> None:
    assert [shown_count(count) for count in (0, 1, 4, 5, 1200)] == ["0", "<5", "<5", "5", "1,200"]


def test_a_lone_small_count_takes_the_next_smallest_with_it() -> None:
    counts = {"a": 3, "b": 7, "c": 40, "total": 50}
    assert hidden(counts, [("a", "b", "c", "total")]) == {"a", "b"}


def test_zero_is_hidden_where_a_total_would_reveal_the_small_count() -> None:
    assert hidden({"a": 3, "b": 0, "c": 40, "total": 43}, [("a", "b", "c", "total")]) == {"a", "b"}


def test_two_small_counts_need_no_third() -> None:
    assert hidden({"a": 3, "b": 2, "c": 40}, [("a", "b", "c")]) == {"a", "b"}


@drawn(st.lists(st.lists(st.integers(0, 30), min_size=3, max_size=3), min_size=2, max_size=5))
def test_no_hidden_count_can_be_had_by_subtraction(table: list[list[int]]) -> None:
    """In a table with both margins known, no row and no column has exactly one hidden cell."""
    cells = {(r, c): count for r, line in enumerate(table) for c, count in enumerate(line)}
    rows = [[(r, c) for c in range(3)] for r in range(len(table))]
    columns = [[(r, c) for r in range(len(table))] for c in range(3)]
    gone = hidden(cells, [*rows, *columns])
    assert all(key in gone for key, count in cells.items() if 0 < count < 5)
    assert all(sum(key in gone for key in group) != 1 for group in (*rows, *columns))
