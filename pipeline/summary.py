"""What a command says at its end: what was done, counts, and where things are."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """The closing lines of a command, for a person or as JSON.

    `counts` are shown as "label: number"; `written` says what lies where; `next_step` names the
    command that usually comes next.
    """

    done: str
    counts: Mapping[str, int | str] = field(default_factory=dict[str, int | str])
    written: Mapping[str, Path] = field(default_factory=dict[str, Path])
    remarks: tuple[str, ...] = ()
    next_step: str = ""

    def as_text(self) -> str:
        """Lay the summary out for a terminal."""
        width = max((len(label) for label in (*self.counts, *self.written)), default=0)
        lines = [self.done]
        lines += [f"  {label:<{width}}  {number}" for label, number in self.counts.items()]
        lines += [f"  {label:<{width}}  {path}" for label, path in self.written.items()]
        lines += [f"  {remark}" for remark in self.remarks]
        if self.next_step:
            lines.append(f"Next: {self.next_step}")
        return "\n".join(lines)

    def as_json(self) -> str:
        """Give the same as one JSON object."""
        return json.dumps(
            {
                "done": self.done,
                "counts": dict(self.counts),
                "written": {label: str(path) for label, path in self.written.items()},
                "remarks": list(self.remarks),
                "next_step": self.next_step,
            },
            ensure_ascii=False,
        )
