"""`sulca mask`: run inside a clinic, before anything is sent.

One file of the export goes in, and the same rows come out with tokens for numbers, each animal's
dates shifted, the age for the date of birth, and without what was not declared as harmless. The
key is read, used and forgotten: it is in no output, no message and no argument.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

from pipeline.intake.coded import as_text
from pipeline.intake.read import read_file
from pipeline.intake.sheet import ROW, Sheet
from pipeline.mask_config import MaskConfig, MaskedFile, read_mask_config
from pipeline.mask_register import Register, read_register
from pipeline.mask_rows import (
    ANIMAL,
    LINK,
    RENAMED,
    Dated,
    made_columns,
    read_dated,
    shifted_columns,
)
from pipeline.mask_screen import long_texts, require_declared, require_harmless
from pipeline.mask_tokens import (
    animal_token,
    link_token,
    read_key,
    shift_days,
    stifle_token,
    surgeon_token,
)
from shared.errors import InputFileError, MappingError, nearest
from shared.files import replacing, write_csv, write_text


@dataclass(frozen=True, slots=True, kw_only=True)
class Masked:
    """What was written where, and counts of what was done; no content of any cell."""

    out: Path
    report: Path
    counts: Mapping[str, int] = field(default_factory=dict[str, int])


def mask_file(
    path: Path, key_file: Path, *, out: Path, config_path: Path, codes: Path | None = None
) -> Masked:
    """Mask one file of an export.

    Parameters
    ----------
    path
        The file; mask.toml declares it, and the other files of the export beside it.
    key_file
        The network's key, outside all folders that travel.
    out
        Where the masked file goes; a report of counts is written beside it.
    codes
        Where a table of own codes and tokens goes, which the clinic keeps.

    Raises
    ------
    InputFileError
        If a file or the key cannot be used, or something that is kept looks identifying.
    MappingError
        If mask.toml is wrong, or a column is not declared.
    """
    config = read_mask_config(config_path)
    key = read_key(key_file, away_from=(path.parent, out.parent, config_path.parent))
    _check_places(path, out, codes)
    file = _declared(path, config)
    sheet = read_file(path.parent, file.source)
    sheet = replace(sheet, rows=as_text(sheet.rows))
    require_declared(sheet, file, config)
    require_harmless(sheet, file, config)
    register = read_register(path.parent, config)
    dated = read_dated(sheet, file, config)
    rows, why = register.part(dated.rows, file)
    shifted = shifted_columns(_with_tokens(rows, file, config, register=register, key=key),
                              file, config)  # fmt: skip
    columns = _columns(sheet, file)
    masked = shifted.sort(ANIMAL, ROW).select(columns)
    counts = _counts(sheet, dated, why, register=register) | {"rows written": masked.height}
    with replacing(out) as draft:  # cells as they are: for the intake, which reads them as text
        masked.write_csv(draft)
    report = out.with_name(out.name + ".report.txt")
    write_text(report, _report(path, counts, dated, long_texts(sheet.rows, file)))
    if codes:
        _write_codes(codes, _codes(rows, shifted, file))
    return Masked(out=out, report=report, counts=counts)


def _check_places(path: Path, out: Path, codes: Path | None) -> None:
    if out.resolve() == path.resolve():
        raise InputFileError(str(out), "this is the export itself", do="Write to another file.")
    if codes and codes.resolve().is_relative_to(out.resolve().parent):
        raise InputFileError(
            str(codes), "the table of codes would lie beside what is sent",
            do="Keep it in a folder of its own, which stays in the clinic.",
        )  # fmt: skip


def _declared(path: Path, config: MaskConfig) -> MaskedFile:
    for file in config.files:
        if file.source.path == path.name:
            return file
    names = [file.source.path for file in config.files]
    raise MappingError(config.path, f'there is no [[file]] with path = "{path.name}"',
                       do=nearest(path.name, names))  # fmt: skip


def _with_tokens(
    rows: pl.DataFrame, file: MaskedFile, config: MaskConfig, *, register: Register, key: bytes
) -> pl.DataFrame:
    """Put tokens and the shift beside the clinic's own codes."""
    clinic = config.clinic_id
    codes = rows[file.animal].to_list()
    animals = {code: animal_token(key, clinic, code) for code in dict.fromkeys(codes)}
    links = {code: link_token(key, number) for code, number in register.transponders.items()}
    shifts = {code: shift_days(key, links.get(code, token)) for code, token in animals.items()}
    made = [
        pl.Series(ANIMAL, [animals[code] for code in codes], pl.String),
        pl.Series(LINK, [links.get(code) for code in codes], pl.String),
        pl.Series("shift", [shifts[code] for code in codes], pl.Int64),
    ]
    tokens = {"surgeon": surgeon_token, "stifle": stifle_token}
    for part, token in tokens.items():
        if part in file.one:
            own = rows[file.one[part]].to_list()
            made.append(pl.Series(
                RENAMED[part], [token(key, clinic, code) if code else None for code in own],
                pl.String,
            ))  # fmt: skip
    return rows.with_columns(made)


def _columns(sheet: Sheet, file: MaskedFile) -> list[str]:
    """Name the columns that leave, in the order of the file."""
    renamed = {file.animal: ANIMAL} | {
        file.one[part]: name for part, name in RENAMED.items() if part in file.one
    }
    renamed |= {file.one["transponder"]: LINK} if "transponder" in file.one else {}
    gone = {*file.many["drop"], file.one.get("birth_date", "")}
    columns = [renamed.get(name, name) for name in sheet.header if name not in gone]
    columns += made_columns(file)
    for name in columns:
        if columns.count(name) > 1:
            raise MappingError(
                sheet.where, f'the masked file would have two columns "{name}"',
                do="Put the clinic's own column of that name under drop.",
            )  # fmt: skip
    return columns


def _counts(sheet: Sheet, dated: Dated, why: pl.DataFrame, *, register: Register) -> dict[str, int]:
    """Count every row once, and what was emptied in those that leave."""
    return {
        "rows read": sheet.n_rows,
        "blank rows and titles": len(sheet.set_aside),
        "rows that do not fit the header": len(sheet.ragged),
        **{f"set aside: {reason}": count for reason, count in why.iter_rows()},
        **dated.counts,
        "transponder numbers that are none": register.n_unusable,
    }


def _report(path: Path, counts: Mapping[str, int], dated: Dated, long: Mapping[str, int]) -> str:
    lines = [f"Masked: {path.name}", *(f"{name}: {count}" for name, count in counts.items())]
    lines += [
        f'dates not understood in "{name}", rows: {", ".join(str(row) for row in rows)}'
        for name, rows in dated.unread.items()
    ]
    lines += [f'"{name}" holds {count} long texts; look whether they are remarks'
              for name, count in long.items()]  # fmt: skip
    return "\n".join(lines) + "\n"


def _codes(rows: pl.DataFrame, shifted: pl.DataFrame, file: MaskedFile) -> pl.DataFrame:
    """List own codes and tokens, so that the clinic can find the animal a question is about."""
    pairs = {"animal": (file.animal, ANIMAL)} | {
        part: (file.one[part], name) for part, name in RENAMED.items() if part in file.one
    }
    return pl.concat([
        pl.DataFrame({"what": part, "own code": rows[own], "token": shifted[token]})
        .drop_nulls().unique().sort("own code")
        for part, (own, token) in pairs.items()
    ])  # fmt: skip


def _write_codes(path: Path, found: pl.DataFrame) -> None:
    """Add to the clinic's table of codes what this file has; only its owner may read it."""
    before = pl.read_csv(path, infer_schema=False) if path.is_file() else found.clear()
    whole = pl.concat([before, found.select(before.columns)]).unique()
    write_csv(path, whole.sort("what", "own code", "token"))
    path.chmod(0o600)
