"""Zip and gzip archives, read part by part in memory; nothing is ever unpacked to disk."""

import gzip
import io
import zipfile
import zlib
from collections.abc import Generator
from pathlib import PurePosixPath
from typing import IO

from pipeline.intake.limits import MEGABYTE, SMALL_PART_MB, Limits
from shared.errors import InputFileError, nearest

BLOCK = 1 << 16
MOST_PARTS = 20_000
BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, ValueError)


def open_archive(handle: IO[bytes], where: str, limits: Limits) -> zipfile.ZipFile:
    """Open a zip archive after a look at its directory.

    Raises
    ------
    InputFileError
        If it is no archive, has a password, names a part twice or outside of itself, or would
        unpack to more than the limits allow.
    """
    try:
        archive = zipfile.ZipFile(handle)
    except BROKEN:
        raise InputFileError(
            where, "it cannot be read as the zip archive that it should be",
            do="Open it in its own program and save it again, or ask the clinic to send it again.",
        ) from None  # fmt: skip
    parts = archive.infolist()
    what = _refusal(parts, size=handle.seek(0, io.SEEK_END), limits=limits)
    if what:
        raise InputFileError(
            where, what, do="Nothing was unpacked. Ask the clinic to save or export it again."
        )
    return archive


def _refusal(parts: list[zipfile.ZipInfo], *, size: int, limits: Limits) -> str:
    """Say what speaks against an archive, from its directory alone."""
    names = [part.filename for part in parts]
    against = {
        f"the archive holds more than {MOST_PARTS} parts": len(parts) > MOST_PARTS,
        "the archive holds two parts of one name": len(set(names)) < len(names),
        "the archive names a part outside of itself": any(map(_climbs, names)),
        "the archive is closed with a password": any(part.flag_bits & 1 for part in parts),
        f"the archive unpacks to more than {limits.unpacked_mb} MB":
            sum(part.file_size for part in parts) > limits.unpacked_mb * MEGABYTE,
        "parts of the archive lie over one another":
            sum(part.compress_size for part in parts) > size,
        f"a part of the archive unpacks to more than {limits.ratio} times its size":
            any(_blown_up(part.file_size, part.compress_size, limits) for part in parts),
    }  # fmt: skip
    return next((what for what, is_so in against.items() if is_so), "")


def _climbs(name: str) -> bool:
    plain = name.replace("\\", "/")
    return plain.startswith("/") or ":" in plain[:3] or ".." in PurePosixPath(plain).parts


def _blown_up(unpacked: int, packed: int, limits: Limits) -> bool:
    return unpacked > SMALL_PART_MB * MEGABYTE and unpacked > limits.ratio * max(packed, 1)


def part_blocks(archive: zipfile.ZipFile, name: str, where: str) -> Generator[bytes]:
    """Give one part in blocks."""
    try:
        with archive.open(name) as stream:
            while block := stream.read(BLOCK):  # no more than the directory announced
                yield block
    except KeyError:
        raise InputFileError(
            where, f"the part {name} is not in it", do="Save it again as such a file."
        ) from None
    except BROKEN:
        raise InputFileError(
            where, "a part of the archive is damaged", do="Ask the clinic to send it again."
        ) from None


def read_member(
    handle: IO[bytes], member: str, where: str, limits: Limits
) -> tuple[bytes, tuple[str, ...]]:
    """Give one file of a zip archive, and the names of the others."""
    archive = open_archive(handle, where, limits)
    names = [name for name in archive.namelist() if not name.endswith("/")]
    if member not in names:
        raise InputFileError(
            where,
            f'there is no file "{member}" in the archive' if member
            else "the mapping does not say which file of the archive is meant",
            do="Write it as member in the mapping. " + (nearest(member, names) if names else ""),
        )  # fmt: skip
    content = b"".join(part_blocks(archive, member, where))
    return content, tuple(sorted(name for name in names if name != member))


def read_gzip(handle: IO[bytes], where: str, limits: Limits) -> bytes:
    """Give the content of a gzip file, counted while it unpacks."""
    packed = handle.seek(0, io.SEEK_END)
    handle.seek(0)
    blocks: list[bytes] = []
    size = 0
    try:
        with gzip.open(handle) as stream:
            while block := stream.read(BLOCK):
                blocks.append(block)
                size += len(block)
                if size > limits.unpacked_mb * MEGABYTE or _blown_up(size, packed, limits):
                    break
    except BROKEN:
        raise InputFileError(
            where, "it cannot be unpacked as gzip, or is cut short",
            do="Ask the clinic to send it again.",
        ) from None  # fmt: skip
    if size > limits.unpacked_mb * MEGABYTE or _blown_up(size, packed, limits):
        raise InputFileError(
            where,
            f"it unpacks to more than {limits.ratio} times its size, "
            f"or to more than {limits.unpacked_mb} MB",
            do="Ask the clinic to send the file as it is, or in parts.",
        )
    return b"".join(blocks)
