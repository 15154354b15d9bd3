"""The pieces pages are made of, as escaped HTML from the templates beside this file."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

Text = str | Markup


@dataclass(frozen=True, slots=True)
class Section:
    """One part of a page; `blocks` are pieces made here, `short` stands in the contents."""

    id: str
    title: str
    short: str
    blocks: tuple[Markup, ...]

    @property
    def link(self) -> str:
        """Where the contents point to."""
        return f"#{self.id}"


@dataclass(frozen=True, slots=True)
class Link:
    """An entry of the contents that leads to another page."""

    link: str
    short: str


@dataclass(frozen=True, slots=True)
class IconArm:
    """A hundred stifles of one arm, some of them filled."""

    filled: int
    caption: Text
    alt: str
    colour: str


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Templates of this package; every value is escaped unless it is Markup made here."""
    return Environment(
        loader=PackageLoader("pipeline.report", "templates"), autoescape=True,
        undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True,
    )  # fmt: skip


def page_style() -> Markup:
    """Give the style that every page has."""
    return Markup((files("pipeline.report") / "templates" / "page.css").read_text("utf-8"))


def _macro(name: str, *values: object) -> Markup:
    module = environment().get_template("blocks.html.j2").module
    return Markup(str(getattr(module, name)(*values)).strip())


def paragraph(text: Text, kind: str = "") -> Markup:
    """Write one paragraph."""
    return _macro("paragraph", text, kind)


def heading(text: Text) -> Markup:
    """Write a heading inside a section."""
    return _macro("heading", text)


def bullets(items: Sequence[Text], kind: str = "") -> Markup:
    """Write a list; nothing for no items."""
    return _macro("bullets", items, kind) if items else Markup("")


def terms(pairs: Sequence[tuple[Text, Text]]) -> Markup:
    """Write a list of terms and what is said of them."""
    return _macro("terms", pairs)


def fold(title: str, inside: Markup) -> Markup:
    """Write something that opens on demand."""
    return _macro("fold", title, inside)


def picture(uri: str, *, alt: str, caption: str, numbers: Markup) -> Markup:
    """Write a figure with its text and its numbers as a table."""
    return _macro("picture", uri, alt, caption, numbers)


def strip(parts: Sequence[tuple[str, Text, str]]) -> Markup:
    """Write an equation of counts: (sign before it, count, what it counts)."""
    return _macro("strip", parts)


def icons(arms: Sequence[IconArm]) -> Markup:
    """Write a hundred dots per arm."""
    return _macro("icons", arms)


def three(parts: Sequence[tuple[str, str, Sequence[Text]]]) -> Markup:
    """Write the three boxes of a clinic's page: (kind, title, items)."""
    return _macro("three", parts)


def page(
    *, title: str, design: Text, contents: Sequence[Section | Link], lead: Sequence[Markup],
    sections: Sequence[Section], imprint: Text,
) -> str:  # fmt: skip
    """Write a whole page."""
    return environment().get_template("page.html.j2").render(
        title=title, heading=title, design=design, caution=CAUTION, contents=contents, lead=lead,
        sections=sections, imprint=imprint, style=page_style(),
    )  # fmt: skip


CAUTION = Markup(
    "<strong>Read with care.</strong> These are associations seen in records, not effects proved "
    "by an experiment, and they are not treatment advice. Licensed veterinary judgement and the "
    "rules that apply where you work decide what is done for an animal."
)
