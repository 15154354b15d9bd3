"""Tokens, shifts and keys of `sulca mask`."""

import hashlib
import hmac
from collections import Counter
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake.screen_cells import kinds_in
from pipeline.mask_tokens import (
    LONGEST_SHIFT,
    animal_token,
    digest,
    link_token,
    normalised_code,
    normalised_transponder,
    read_key,
    shift_days,
    stifle_token,
    surgeon_token,
)
from shared.errors import InputFileError

KEY, OTHER = bytes(range(32)), bytes(range(1, 33))
LONG = (
    b"This is a test using a larger than block-size key and a larger than block-size data. The key "
    b"needs to be hashed before being used by the HMAC algorithm."
)


@pytest.mark.parametrize(
    ("key", "data", "expected"),
    [
        (b"\x0b" * 20, b"Hi There",
         "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
        (b"Jefe", b"what do ya want for nothing?",
         "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"),
        (b"\xaa" * 20, b"\xdd" * 50,
         "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"),
        (bytes(range(1, 26)), b"\xcd" * 50,
         "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b"),
        (b"\xaa" * 131, b"Test Using Larger Than Block-Size Key - Hash Key First",
         "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"),
        (b"\xaa" * 131, LONG,
         "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2"),
    ],
)  # fmt: skip
def test_the_digest_is_hmac_sha_256(key: bytes, data: bytes, expected: str) -> None:
    """RFC 4231, sections 4.2 to 4.5, 4.7 and 4.8 (read in public copies of its vectors)."""
    assert digest(key, data) == expected


@settings(max_examples=40)
@given(st.binary(min_size=32, max_size=200), st.text(max_size=30))
def test_a_token_is_the_defining_equation(key: bytes, number: str) -> None:
    """RFC 2104: H(K xor opad, H(K xor ipad, text)), blocks of 64 bytes; and the library's own."""
    block = (hashlib.sha256(key).digest() if len(key) > 64 else key).ljust(64, b"\0")
    text = f"transponder:{number}".encode()
    inner = hashlib.sha256(bytes(byte ^ 0x36 for byte in block) + text).digest()
    outer = hashlib.sha256(bytes(byte ^ 0x5C for byte in block) + inner).hexdigest()
    letters = dict(zip("0123456789abcdef", "bcdfghjklmnpqrst", strict=True))
    assert link_token(key, number) == "t" + "".join(letters[digit] for digit in outer)
    assert outer == hmac.new(key, text, hashlib.sha256).hexdigest()


def test_equal_numbers_of_different_kinds_have_different_tokens() -> None:
    made = [animal_token(KEY, "north", "17"), surgeon_token(KEY, "north", "17"),
            stifle_token(KEY, "north", "17"), link_token(KEY, "17")]  # fmt: skip
    assert len({token[1:17] for token in made}) == 4
    assert [token[0] for token in made] == ["a", "s", "k", "t"]


def test_own_codes_of_two_clinics_differ_and_transponders_do_not() -> None:
    assert animal_token(KEY, "north", "17") != animal_token(KEY, "lake", "17")
    assert surgeon_token(KEY, "north", "S1") != surgeon_token(KEY, "lake", "S1")
    assert animal_token(KEY, "north", "17") != animal_token(OTHER, "north", "17")
    assert link_token(KEY, "900164000123456") != link_token(OTHER, "900164000123456")


@pytest.mark.parametrize(
    "text", ["900164000123456", "900 164 000 123 456", "900-164000123456", " 900.164.000.123.456 "]
)
def test_spellings_of_a_transponder_number_are_one(text: str) -> None:
    assert normalised_transponder(text) == "900164000123456"


@pytest.mark.parametrize(
    "text",
    ["", "none", "9" * 14, "9001640001234567", "0" * 15, "999 999 999 999 999", "9.0016E+14"],
)
def test_what_is_no_transponder_number_links_nobody(text: str) -> None:
    assert normalised_transponder(text) is None


def test_spaces_around_a_code_make_no_other_animal() -> None:
    assert normalised_code("  E/0221 \t") == normalised_code("E/0221")
    assert animal_token(KEY, "x", " A  1 ") == animal_token(KEY, "x", "A 1")
    assert animal_token(KEY, "x", "E/0221") != animal_token(KEY, "x", "E-221")


def test_shifts_are_in_range_never_zero_and_even() -> None:
    """Chi-square of 364 equally likely values: mean 363, standard deviation sqrt(2 x 363) = 27."""
    shifts = [shift_days(KEY, animal_token(KEY, "north", str(n))) for n in range(36_400)]
    counts = Counter(shifts)
    assert set(counts) == set(range(-LONGEST_SHIFT, LONGEST_SHIFT + 1)) - {0}
    chi_square = sum((count - 100) ** 2 / 100 for count in counts.values())
    assert 363 - 5 * 27 < chi_square < 363 + 5 * 27


def test_the_shift_cannot_be_had_from_the_token_without_the_key() -> None:
    tokens = [animal_token(KEY, "north", str(n)) for n in range(200)]
    agree = sum(shift_days(KEY, token) == shift_days(OTHER, token) for token in tokens)
    assert agree < 10


def test_no_token_looks_like_an_identifier_or_a_number() -> None:
    tokens = pl.Series(
        "t",
        [link_token(KEY, str(n)) for n in range(20_000)]
        + [animal_token(KEY, "north", str(n)) for n in range(20_000)],
    )
    assert kinds_in(tokens.to_frame(), ["t"]).is_empty()
    assert tokens.cast(pl.Float64, strict=False).null_count() == len(tokens)


@pytest.fixture
def places(tmp_path: Path) -> dict[str, Path]:
    made = {name: tmp_path / name for name in ("export", "keys", "study")}
    for folder in made.values():
        folder.mkdir()
    (made["study"] / "study.toml").write_text('title = "T"\n')
    return made


def write_key(folder: Path, content: bytes, *, mode: int = 0o600) -> Path:
    path = folder / "network.key"
    path.write_bytes(content)
    path.chmod(mode)
    return path


def test_a_key_is_read_without_its_line_end(places: dict[str, Path]) -> None:
    text = hashlib.sha256(b"invented").hexdigest().encode()
    for end in (b"", b"\n", b"\r\n"):
        path = write_key(places["keys"], text + end)
        assert read_key(path, away_from=(places["export"],)) == text


@pytest.mark.parametrize(
    ("content", "mode", "says"),
    [
        (bytes(range(31)), 0o600, "no random key"),
        (b"a" * 64, 0o600, "no random key"),
        (b"", 0o600, "no random key"),
        (bytes(range(40, 80)), 0o644, "everybody on this computer can read"),
    ],
)
def test_a_key_that_is_no_secret_is_refused_and_not_shown(
    places: dict[str, Path], content: bytes, mode: int, says: str
) -> None:
    path = write_key(places["keys"], content, mode=mode)
    with pytest.raises(InputFileError, match=says) as caught:
        read_key(path, away_from=(places["export"],))
    assert not content or content.decode("latin-1") not in str(caught.value)


@pytest.mark.parametrize("folder", ["export", "study"])
def test_a_key_that_would_travel_is_refused(places: dict[str, Path], folder: str) -> None:
    deep = places[folder] / "a" / "b"
    deep.mkdir(parents=True)
    path = write_key(deep, bytes(range(40)))
    with pytest.raises(InputFileError, match="is sent or shared"):
        read_key(path, away_from=(places["export"],))
    link = places["keys"] / "network.key"
    link.symlink_to(path)
    with pytest.raises(InputFileError, match="is sent or shared"):
        read_key(link, away_from=(places["export"],))


def test_a_missing_key_is_named(places: dict[str, Path]) -> None:
    with pytest.raises(InputFileError, match="no key file"):
        read_key(places["keys"] / "none", away_from=())
    with pytest.raises(InputFileError, match="no key file"):
        read_key(places["keys"], away_from=())
