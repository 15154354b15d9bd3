"""What is told apart quickly holds no identifier, by the patterns themselves."""

import random
import string

import polars as pl

from pipeline.intake.screen_cells import TEXT, kinds_in
from pipeline.intake.screen_patterns import KINDS, NOT_SAFE, SAFE, WORDLESS

HEXADECIMAL = string.digits + "abcdef"
LENGTHS = (7, 9, 14, 15, 16, 20, 41)


def tokens() -> list[str]:
    """Tokens of a small letter and hexadecimal digits: seeded, and digits alone after it."""
    drawn = random.Random(1)
    return [
        letter + "".join(drawn.choices(signs, k=length))
        for letter in string.ascii_lowercase for length in LENGTHS
        for signs in (HEXADECIMAL, string.digits, "0", "abcdef", "0123456789e") for _ in range(5)
    ]  # fmt: skip


def test_a_token_has_no_kind_by_any_pattern() -> None:
    texts = pl.Series(TEXT, tokens())
    assert texts.str.contains(SAFE).all()
    for kind in KINDS.values():
        left = texts
        for pattern in kind.past:
            left = left.str.replace_all(pattern, "|")
        for pattern in kind.cells:
            assert not left.str.contains(pattern).any()
        for pattern in kind.whole:
            assert not texts.str.contains(pattern).any()


def test_what_is_told_apart_first_is_safe_and_holds_no_word_that_makes_it_another() -> None:
    drawn = random.Random(2)
    around = ["", *string.digits, *"abcdefATZ+-/_ .:", "12345678", "03/02/2019", " 10:30"]
    telling = [
        "".join([*drawn.choices(around, k=2), write(word), *drawn.choices(around, k=2)])
        for word in NOT_SAFE for write in (str.lower, str.upper, str.title) for _ in range(2000)
    ]  # fmt: skip
    assert not pl.Series(telling).str.contains(WORDLESS).any()
    plain = pl.Series([*tokens(), "03/02/2019", "2019-02-03 10:30", "A 12345678", "KL-1", "-7.25"])
    assert plain.str.contains(WORDLESS).all()
    assert plain.str.contains(SAFE).all()


def test_an_identifier_is_found_among_equal_and_among_distinct_cells() -> None:
    """20 000 rows: a column that repeats, one of runs, one with a text of its own in each row."""
    height = 20_000
    own = [f"N-{number:07}" for number in range(height)]
    own[19_000] = "owner: Jane Quill"
    repeated = ["walks well, no pain"] * height
    repeated[5:8] = ["tel. 612345678"] * 3
    runs = [f"N-{number // 3:07}" for number in range(height)]
    runs[0] = runs[-1] = "a.b@example.org"
    rows = pl.DataFrame({"own": own, "repeated": repeated, "runs": runs})
    seen = kinds_in(rows, rows.columns)
    assert seen[TEXT].to_list() == ["a.b@example.org", "owner: Jane Quill", "tel. 612345678"]
