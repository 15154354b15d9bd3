"""What a column means, as entries of [table.columns]."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from pipeline.draft.codes import CodeGuess, missing_reason
from pipeline.draft.columns import Meaning
from pipeline.draft.readings import Tongue, yes_or_no
from pipeline.draft.toml_text import code, inline, listed, quoted
from pipeline.draft.units import scale_top
from pipeline.draft.value_doubts import highest

_NOMINAL = frozenset({"days", "weeks", "months", "years"})
SCALES: Mapping[int, str] = {4: "zero_to_four", 5: "zero_to_five", 10: "zero_to_ten"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One variable and how it is read.

    Attributes
    ----------
    keys
        Keys of its inline table, values in TOML; without "column" the variable has a value.
    codes
        Its code list, where its texts are not the codebook's own.
    shared
        Name of a list of [codes] that holds it instead.
    joined
        How its column may have to be read together with another, as an example.
    """

    variable: str
    header: str
    keys: Mapping[str, str]
    evidence: str
    proved: bool
    codes: tuple[CodeGuess, ...] = ()
    shared: str = ""
    joined: str = ""

    @property
    def value(self) -> str:
        """Write what stands behind the variable's name where no list of codes follows."""
        if set(self.keys) == {"column"}:
            return self.keys["column"]
        return inline(self.keys)


def lines_of(meaning: Meaning, tongue: Tongue, header: str) -> list[Line]:
    """Write the entries of one column; `header` has the words of the block in it."""
    reading, column = meaning.reading, {"column": quoted(header)}
    if reading.how == "facts":
        return []
    if reading.how in ("count_by_size", "yes_with_size"):
        return _sized(meaning, tongue, header)
    keys = column | _how(meaning)
    line = Line(
        variable=reading.variable, header=header, keys=keys, proved=meaning.proved,
        evidence=_evidence(meaning), joined=reading.example,
    )  # fmt: skip
    if reading.how == "codes":
        line = _with_codes(line, reading.codes, tongue)
    if reading.how in ("number", "score"):
        line = _with_missing(line, meaning, tongue)
    if reading.variable == "lameness_preop":
        return [line, _scale(meaning)]
    return [line]


def _how(meaning: Meaning) -> dict[str, str]:
    reading = meaning.reading
    keys: dict[str, str] = {}
    if reading.how in ("date", "birth_date", "duration") and reading.variable != "surgery_date":
        keys["as"] = quoted(reading.how)
    if reading.unit and reading.unit.unit:
        keys["unit"] = quoted(reading.unit.unit)
    if reading.units:
        keys["unit"] = inline({word: quoted(unit) for word, unit in reading.units.items()})
    if reading.out_of:
        keys["out_of"] = str(reading.out_of)
    planned = reading.how == "duration" or (reading.unit and reading.unit.unit in _NOMINAL)
    if reading.variable == "recheck_day" and planned:
        keys |= {"counted_from": quoted("this"), "nominal_days": quoted("half_step")}
    return keys


def _evidence(meaning: Meaning) -> str:
    reading = meaning.reading
    header = f"header like {meaning.phrase}" if meaning.phrase else "by its values alone"
    unit = reading.unit.evidence if reading.unit else ""
    return "; ".join(filter(None, (header, reading.evidence, unit)))


def _with_codes(line: Line, codes: tuple[CodeGuess, ...], tongue: Tongue) -> Line:
    told = [item for item in codes if item.code]
    unknown = bool(line.joined) or any(not item.code and not item.reason for item in codes)
    plain = not unknown and all(
        item.text.lower() == item.code.lower() and not item.note for item in told
    )
    if plain:
        return line
    answers = (
        bool(told)
        and not line.joined
        and all(yes_or_no(item.text, tongue) == item.code for item in told)
    )
    shared = "side" if line.variable == "side" else "yes_no" if answers else ""
    return replace(line, codes=codes, shared=shared)


def _with_missing(line: Line, meaning: Meaning, tongue: Tongue) -> Line:
    """Let "no" in a column of sizes mean that there is none to measure."""
    none = [
        text for text in sorted(meaning.counts)
        if tongue.marks.number(text) is None and yes_or_no(text, tongue) == "false"
        and not missing_reason(text, tongue.language)
    ]  # fmt: skip
    if not none:
        return line
    keys = {**line.keys, "missing": inline({"not_applicable": "[" + ", ".join(
        map(quoted, none)) + "]"})}  # fmt: skip
    return replace(line, keys=keys, proved=False, evidence=line.evidence +
                   f"; {listed(none)} taken as not applicable")  # fmt: skip


def _scale(meaning: Meaning) -> Line:
    """Say on which scale the clinic scored lameness, as far as the export shows it."""
    top = scale_top(meaning.family.template) or meaning.reading.out_of
    seen = highest(meaning.counts)
    usual = "words" if seen is None and meaning.counts else SCALES[5 if (seen or 0) <= 5 else 10]
    keys = {"value": quoted(SCALES.get(top or 0, usual)), "when_filled": quoted("lameness_preop")}
    why = f"the scale ends at {top}" if top else "no scale in header or cells; by its values"
    return Line(variable="lameness_scale", header="", keys=keys, evidence=why, proved=top == 5)


def _sized(meaning: Meaning, tongue: Tongue, header: str) -> list[Line]:
    """Write "2x1,2" as count and size, "si 0,8" as an answer and a size."""
    column, why = {"column": quoted(header)}, _evidence(meaning)

    def line(variable: str, keys: dict[str, str]) -> Line:
        return Line(variable=variable, header=header, keys=column | keys, evidence=why,
                    proved=meaning.header_score >= 0.8)  # fmt: skip

    if meaning.reading.how == "count_by_size":
        return [
            line("kwire_count", {"pattern": quoted(r"^([0-9]) ?[xX×*]")}),
            line("kwire_diameter_mm", {"pattern": quoted(r"^[0-9] ?[xX×*] ?(.+)$")}),
        ]
    words = {text.split()[0]: yes_or_no(text.split()[0], tongue) for text in sorted(meaning.counts)}
    yes = [word for word, answer in words.items() if answer == "true"]
    no = [word for word, answer in words.items() if answer == "false"]
    codes = {word: code(words[word], tongue.variables["tension_band_done"]) for word in yes + no}
    size = {"pattern": quoted(rf"^(?:{'|'.join(yes)}) (.+)$")}
    if no:
        size["missing"] = inline({"not_applicable": "[" + ", ".join(map(quoted, no)) + "]"})
    return [
        line("tension_band_done",
             {"pattern": quoted(rf"^({'|'.join(yes + no)})\b"), "codes": inline(codes)}),
        line("tb_wire_diameter_mm", size),
    ]  # fmt: skip
