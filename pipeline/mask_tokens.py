"""Keyed tokens for numbers that point to an animal or a person, and each animal's date shift.

A token is HMAC-SHA-256 of a kind and a number under the network's key: without the key nobody can
make it again or try numbers out. Its digits are written as consonants, so that no spreadsheet
program takes a token for a number, no screen for a telephone number, and no reader for a word.
"""

import hmac
import os
import re
import unicodedata
from pathlib import Path

from shared.errors import InputFileError

LEAST_KEY_BYTES = 32
LEAST_KEY_VARIETY = 8  # different bytes; a key of one letter repeated is no secret
LONGEST_SHIFT = 182  # days
TRANSPONDER_DIGITS = 15
LETTERS = str.maketrans("0123456789abcdef", "bcdfghjklmnpqrst")
SHORT = 16  # digits of a token that need only be unique among a network's codes


def digest(key: bytes, message: bytes) -> str:
    """HMAC-SHA-256 in small hexadecimal digits (FIPS 198-1, RFC 2104)."""
    return hmac.digest(key, message, "sha256").hex()


def animal_token(key: bytes, clinic_id: str, code: str) -> str:
    """Token of a clinic's own animal code; equal codes of two clinics differ."""
    return "a" + _local(key, "animal", clinic_id, code)


def surgeon_token(key: bytes, clinic_id: str, code: str) -> str:
    """Token of a clinic's own surgeon code; equal codes of two clinics differ."""
    return "s" + _local(key, "surgeon", clinic_id, code)


def stifle_token(key: bytes, clinic_id: str, code: str) -> str:
    """Token of a clinic's own code of a knee."""
    return "k" + _local(key, "stifle", clinic_id, code)


def link_token(key: bytes, transponder: str) -> str:
    """Token of a normalised transponder number: the same at every clinic that holds the key."""
    return "t" + digest(key, f"transponder:{transponder}".encode()).translate(LETTERS)


def shift_days(key: bytes, token: str) -> int:
    """Days by which all dates of an animal move: -182 to 182, never 0.

    Never 0, so that no animal is sent with its true dates. The shift is keyed as well: made of
    the token alone, whoever receives the token could take it back.
    """
    place = int(digest(key, f"shift:{token}".encode()), 16) % (2 * LONGEST_SHIFT)
    return place - LONGEST_SHIFT + (place >= LONGEST_SHIFT)


def normalised_code(text: str) -> str:
    """Trim a code and make its spaces single; anything else makes another code."""
    return " ".join(unicodedata.normalize("NFC", text).split())


def normalised_transponder(text: str) -> str | None:
    """Give the 15 digits of a transponder number without spaces, points and hyphens.

    None for anything else, and for one digit repeated, which is a placeholder.
    """
    digits = re.sub(r"[\s.-]", "", unicodedata.normalize("NFKC", text))
    whole = re.fullmatch(f"[0-9]{{{TRANSPONDER_DIGITS}}}", digits)
    return digits if whole and len(set(digits)) > 1 else None


def _local(key: bytes, kind: str, clinic_id: str, code: str) -> str:
    message = f"{kind}:{clinic_id}:{normalised_code(code)}".encode()
    return digest(key, message)[:SHORT].translate(LETTERS)


def read_key(path: Path, *, away_from: tuple[Path, ...]) -> bytes:
    """Read the key; line ends at its end do not belong to it.

    Parameters
    ----------
    away_from
        Folders that travel or are shared: the key must not lie in them.

    Raises
    ------
    InputFileError
        If the key lies in one of these folders or in a study folder, is missing, can be read by
        everybody, is too short or plainly no random key.
    """
    place = path.resolve()
    shared = [folder for folder in away_from if place.is_relative_to(folder.resolve())]
    shared += [folder for folder in place.parents if (folder / "study.toml").exists()]
    if shared:
        raise _refused(path, "the key lies in a folder that is sent or shared",
                       "Keep it outside the folders of the export, of its settings, of what is "
                       "written, and of any study.")  # fmt: skip
    if not place.is_file():
        raise _refused(path, "there is no key file", "Ask the network for the key.")
    if os.name == "posix" and place.stat().st_mode & 0o004:
        raise _refused(path, "everybody on this computer can read the key",
                       f"Take that right away: chmod 600 {path}")  # fmt: skip
    key = place.read_bytes().rstrip(b"\r\n")
    if len(key) < LEAST_KEY_BYTES or len(set(key)) < LEAST_KEY_VARIETY:
        raise _refused(path, f"this is no random key of at least {LEAST_KEY_BYTES} bytes",
                       'The network makes one for all its clinics, once: python -c "import '
                       'secrets; print(secrets.token_hex(32))" > network.key')  # fmt: skip
    return key


def _refused(path: Path, what: str, do: str) -> InputFileError:
    return InputFileError(str(path), what, do=do)
