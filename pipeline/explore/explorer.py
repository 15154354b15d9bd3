"""One study on the page: previews of protocols, and the one that is saved."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock

from pipeline.explore.page import explore_page, result_part
from pipeline.explore.preview import Preview, preview, study_with
from pipeline.explore.protocol_text import difference, with_switches
from pipeline.explore.switches import Values, changed, read_values, values_of
from pipeline.linked import Linked
from pipeline.manifest import read_manifest
from pipeline.study import Study, read_study
from shared.errors import InputFileError, StudyError
from shared.files import write_text

LATE = (
    "This study was first analysed at {time}. A protocol that is changed now is a deviation: the "
    "report lists it."
)


@dataclass(slots=True, kw_only=True)
class Explorer:
    """The linked rows of a study, its saved protocol, and what that leaves."""

    linked: Linked
    study: Study
    text: str
    saved: Preview | None
    lock: Lock = field(default_factory=Lock)

    @property
    def path(self) -> Path:
        """Where the protocol is kept."""
        return self.study.folder / "study.toml"

    def page(self) -> str:
        """Write the page with the switches as they are saved."""
        return explore_page(
            self.study, values_of(self.study), self.preview(sent_of(self.study)), late=self._late()
        )

    def _late(self) -> str:
        """Say that the study was analysed already; blank where it was not."""
        try:
            first = (read_manifest(self.study.folder / "out") or {}).get("first_analysis")
        except StudyError as error:
            return str(error)
        return LATE.format(time=first["time"]) if first else ""

    def preview(self, sent: Mapping[str, object]) -> str:
        """Give what the switches leave, as a piece of the page; or why they leave nothing."""
        with self.lock:
            try:
                values = read_values(sent)
                now = preview(self.linked, study_with(self.study, values))
                new = with_switches(self.text, changed(values_of(self.study), values))
            except StudyError as error:
                return result_part(self.saved, None, difference="", message=str(error))
        change = difference(self.text, new)
        return result_part(self.saved, now, difference=change, message="")

    def save(self, sent: Mapping[str, object]) -> str:
        """Save the switches as the protocol; give the piece of the page that says so.

        Nothing is written where the protocol leaves nobody, contradicts itself, or study.toml
        was changed by somebody else since it was read.
        """
        with self.lock:
            try:
                message = self._save(read_values(sent))
            except StudyError as error:
                return result_part(self.saved, None, difference="", message=str(error))
        return result_part(self.saved, self.saved, difference="", message=message)

    def _save(self, values: Values) -> str:
        now = preview(self.linked, study_with(self.study, values))
        new = with_switches(self.text, changed(values_of(self.study), values))
        if _text(self.path) != self.text:
            raise InputFileError(
                str(self.path), "it was changed since this page was opened",
                do="Start sulca explore again; nothing was written.",
            )  # fmt: skip
        write_text(self.path, new)
        self.study, self.text, self.saved = read_study(self.study.folder), new, now
        return f"Saved in {self.path.name}. Next: sulca run {self.study.folder}"


def _text(path: Path) -> str:
    """Read a text with its ends of lines as they are."""
    return path.read_bytes().decode("utf-8")


def open_explorer(linked: Linked, study: Study) -> Explorer:
    """Begin with the protocol as it is saved; it may leave nobody."""
    try:
        saved = preview(linked, study)
    except StudyError:
        saved = None
    text = _text(study.folder / "study.toml")
    return Explorer(linked=linked, study=study, text=text, saved=saved)


def sent_of(study: Study) -> dict[str, object]:
    """Give the saved values as the page would send them."""
    sent: dict[str, object] = {}
    for section, keys in values_of(study).items():
        for key, value in keys.items():
            sent[f"{section}.{key}"] = (
                value if isinstance(value, bool)
                else ",".join(map(str, value)) if key == "horizons"
                else [str(item) for item in value] if isinstance(value, list)
                else "" if value is None else str(value)
            )  # fmt: skip
    return sent
