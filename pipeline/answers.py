"""`sulca answers`: a filled query list -> lines of corrections.csv, and what is handed back."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from pipeline.checks.answer_lines import Asked, Refused, lines_of, open_questions
from pipeline.checks.answers import Filled, decision_of, read_filled
from pipeline.corrections_file import Correction, append_corrections, read_corrections
from pipeline.intake.screen_cells import looks_identifying
from pipeline.intake.study_intake import clinic_mapping
from pipeline.run import Run
from pipeline.summary import Summary
from shared.errors import InputFileError, nearest

SAME = ("animal", "value", "what is wrong", "table", "variable")
SEEN = ("query_id", *SAME)


@dataclass(frozen=True, slots=True, kw_only=True)
class HandedBack:
    """An answer that was not taken: the row of the list, its question, and why."""

    row: int
    query_id: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What became of every row of a filled list: read = taken + refused + blank.

    Attributes
    ----------
    lines
        Lines added to corrections.csv; an answer about several cells makes several.
    known
        Answers among the taken that stood in corrections.csv already.
    """

    clinic: str
    read: int
    taken: int
    blank: int
    known: int
    refused: tuple[HandedBack, ...]
    lines: tuple[Correction, ...]


def take_answers(done: Run, path: Path, *, clinic: str = "", who: str = "", on: date) -> Taken:
    """Take the answers of one filled query list into the study's corrections.csv.

    Parameters
    ----------
    done
        The study as checked now: an answer is taken for a question that is open in it.
    clinic
        Whose list it is; found from the questions where it is not said.
    who, on
        Who answered and when, where the list has no columns of these names.

    Raises
    ------
    InputFileError
        If the file is no query list, or does not say whose.
    """
    filled = read_filled(path)
    questions = open_questions(done)
    before = read_corrections(done.study.folder / "corrections.csv", done.codebook)
    clinic = _clinic(filled, questions, before, clinic=clinic, path=path, known=done.study.clinics)
    desk = _Desk(done=done, clinic=clinic, questions=questions, before=before, who=who, on=on)
    twice = Counter(item.cells["query_id"] for item in filled if not item.is_blank)
    lines: list[Correction] = []
    refused: list[HandedBack] = []
    known = blank = 0
    for item in filled:
        if item.is_blank:
            blank += 1
            continue
        try:
            if twice[item.cells["query_id"]] > 1:
                raise Refused("the same question is answered twice in this list")
            made = desk.lines(item)
        except Refused as reason:
            refused.append(HandedBack(row=item.row, query_id=_plain(item.cells["query_id"]),
                                      reason=str(reason)))  # fmt: skip
            continue
        new = [line for line in made if line.said not in {old.said for old in before}]
        known += not new
        lines += new
    append_corrections(done.study.folder / "corrections.csv", lines)
    return Taken(
        clinic=clinic, read=len(filled), taken=len(filled) - blank - len(refused), blank=blank,
        known=known, refused=tuple(refused), lines=tuple(lines),
    )  # fmt: skip


def study_of(paths: Sequence[Path]) -> tuple[Path, Path]:
    """Give study folder and list: both as named, or the study above the list, else here.

    Raises
    ------
    InputFileError
        If more than the two are named, or no study is found.
    """
    if len(paths) == 2:
        return paths[0], paths[1]
    if len(paths) != 1:
        raise InputFileError("sulca answers", "one study folder and one list are wanted",
                             do="Example: sulca answers my-study north-filled.xlsx")  # fmt: skip
    for folder in (*paths[0].resolve().parents, Path.cwd()):
        if (folder / "study.toml").is_file():
            return folder, paths[0]
    raise InputFileError(str(paths[0]), "it lies in no study folder",
                         do="Name the study: sulca answers my-study FILE")  # fmt: skip


def answers_summary(taken: Taken, folder: Path) -> Summary:
    """Say what became of every row, and why rows were handed back."""
    return Summary(
        done=f"Answers of {taken.clinic}: {taken.read} rows read.",
        counts={
            "answers": f"{taken.read} = {taken.taken} taken + {len(taken.refused)} refused "
            f"+ {taken.blank} blank",
            "taken before": taken.known,
            "lines added": len(taken.lines),
        },
        written={"corrections": folder / "corrections.csv"} if taken.lines else {},
        remarks=tuple(f"row {item.row}, {item.query_id or 'no id'}: refused, {item.reason}"
                      for item in taken.refused),
        next_step=f"sulca check {folder}",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Desk:
    """What is needed to judge the answers of one clinic."""

    done: Run
    clinic: str
    questions: Mapping[str, Asked]
    before: Sequence[Correction]
    who: str
    on: date

    def lines(self, item: Filled) -> list[Correction]:
        """Give the lines of one answer, or raise why it is handed back."""
        cells = item.cells
        if item.formulas:
            raise Refused(f'the cell "{item.formulas[0]}" is a formula; write the text itself')
        asked = self.questions.get(cells["query_id"])
        decision = decision_of(cells["answer"]) if cells["answer"] else "corrected"
        if asked is None:
            return self._answered_before(cells["query_id"], decision)
        if asked.clinic != self.clinic:
            raise Refused(f"this question was asked of another clinic, not of {self.clinic}")
        changed = [name for name in SAME if _spaced(cells[name]) != _spaced(asked.shown[name])]
        if changed:
            raise Refused(f'"{changed[0]}" reads otherwise than in the question asked now')
        if decision is None:
            raise Refused("the answer is none of the list")
        if decision == "corrected" and not cells["right value"]:
            raise Refused("it says corrected, but the right value is missing")
        if decision != "corrected" and cells["right value"]:
            raise Refused("it gives a right value, but the answer is another than corrected")
        made = lines_of(asked, decision, cells["right value"], done=self.done,
                        mapping=clinic_mapping(self.done.study.folder, self.clinic,
                                               self.done.codebook))  # fmt: skip
        return [self._signed(line, cells) for line in made]

    def _answered_before(self, query_id: str, decision: str | None) -> list[Correction]:
        old = [line for line in self.before if line.query_id == query_id]
        if not old:
            raise Refused("no such question is open")
        if any(line.clinic != self.clinic for line in old):
            raise Refused(f"this question was asked of another clinic, not of {self.clinic}")
        if all(line.decision != decision for line in old):
            raise Refused("it was answered otherwise before; take that line out of corrections.csv")
        return old

    def _signed(self, line: Correction, cells: Mapping[str, str]) -> Correction:
        remark = " ".join(cells["remark"].split())
        if looks_identifying(remark):
            raise Refused("the remark looks like it holds a name, number or address; leave it out")
        who = cells.get("who") or self.who or f"clinic {self.clinic}"
        return replace(line, reason=remark, who=who, when=cells.get("when") or self.on.isoformat())


def _clinic(filled: Iterable[Filled], questions: Mapping[str, Asked],
            before: Iterable[Correction], *, clinic: str, path: Path, known: Sequence[str]
            ) -> str:  # fmt: skip
    """Find whose list it is: as said, or the clinic that most of its questions were asked of."""
    if clinic:
        if clinic not in known:
            raise InputFileError(str(path), f'there is no clinic "{clinic}"',
                                 do=nearest(clinic, known))  # fmt: skip
        return clinic
    old = {line.query_id: line.clinic for line in before}
    asked = {name: item.clinic for name, item in questions.items()}
    names = [(old | asked).get(item.cells["query_id"]) for item in filled]
    counted = Counter(sorted(name for name in names if name)).most_common(2)
    if not counted or (len(counted) == 2 and counted[0][1] == counted[1][1]):
        raise InputFileError(
            str(path), "it does not say which clinic answered",
            do="Name the clinic with --clinic, or ask for the file as sent.",
        )  # fmt: skip
    return counted[0][0]


def _spaced(text: object) -> str:
    return " ".join(str(text or "").split())


def _plain(text: str) -> str:
    """Keep what a terminal shows to the form of an id."""
    return "".join(letter for letter in text[:20] if letter.isalnum() or letter == "-")
