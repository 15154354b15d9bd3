"""The cover page and the dictionary that go to a clinic: self-contained HTML."""

from collections.abc import Iterable, Sequence
from importlib.resources import files

from markupsafe import Markup

from pipeline import contract_words as words
from pipeline.report.blocks import Link, Section, bullets, environment, page_style, paragraph, terms
from schemas.codebook import CANONICAL_TABLES, Variable, codebook_version, of_table
from schemas.contract import TABLES
from schemas.dictionary import in_words, when_needed

CORE = {"yes": "yes", "key": "key", "no": "no"}
KINDS = {"string": "text", "category": "one of the codes", "int": "whole number",
         "float": "number", "bool": "true or false", "date": "date, as 2021-03-02"}  # fmt: skip
CAUTION = Markup("<strong>Never send</strong> {}.").format("; ".join(words.NEVER))


def cover_page(title: str, codebook: Iterable[Variable]) -> str:
    """Write what to send, how, and what never, for a reader who knows no data formats."""
    tables = [(name, Markup("{} {}").format(Markup("<code>{}</code>.").format(table), row))
              for table, (name, row, _) in TABLES.items()]  # fmt: skip
    sections = [
        Section("send", "What to send", "What to send", (bullets(words.SEND), terms(tables))),
        Section("ways", "Three ways to send it", "Three ways", (bullets(words.WAYS),)),
        Section("how", "How to fill it in", "How", (bullets(words.HOW), paragraph(words.TOKEN))),
        Section("never", "What never to send", "Never", (bullets(words.NEVER),)),
        Section("after", "What happens then", "What then", (bullets(words.AFTER),)),
    ]
    return _page(
        f"Data for: {title}", "What the study asks of your clinic", sections, tuple(codebook),
        also=Link("dictionary.html", "The dictionary of all columns"),
    )  # fmt: skip


def dictionary_page(title: str, codebook: Iterable[Variable]) -> str:
    """Write every variable with its unit, codes, limits, definition and source, by table."""
    declared = tuple(codebook)
    sections = [_table_section(table, of_table(declared, table)) for table in CANONICAL_TABLES]
    return _page(
        f"Dictionary: {title}", "Every column of every table", sections, declared,
        also=Link("index.html", "What to send, and how"),
    )  # fmt: skip


def _table_section(table: str, variables: Sequence[Variable]) -> Section:
    name, row, optional = TABLES[table]
    lead = paragraph(row + (" May be left out or empty." if optional else ""))
    text = (files("pipeline") / "templates" / "contract" / "variables.html.j2").read_text("utf-8")
    shown = environment().from_string(text).render(variables=[_shown(item) for item in variables])
    return Section(table, f"{name} ({table})", name, (lead, Markup(shown)))


def _shown(item: Variable) -> dict[str, object]:
    facts = {
        "Type": KINDS[item.kind], "Unit": item.unit, "Limits": in_words(item.limits),
        "Usual": in_words(item.usual), "Needed": when_needed(item).replace("|", " or "),
        "Core": CORE[item.core], "Points to": item.refers_to,
    }  # fmt: skip
    return {
        "table": item.table, "name": item.name, "label": item.label, "source": item.source,
        "definition": item.definition, "codes": list(item.codes.items()),
        "facts": [(name, text) for name, text in facts.items() if text],
    }  # fmt: skip


def _page(
    title: str, design: str, sections: Sequence[Section], codebook: tuple[Variable, ...], *,
    also: Link,
) -> str:  # fmt: skip
    own = files("pipeline") / "templates" / "contract" / "contract.css"
    return environment().get_template("page.html.j2").render(
        title=title, heading=title, design=design, caution=CAUTION, lead=[],
        contents=[*sections, also], sections=sections,
        style=page_style() + Markup(own.read_text("utf-8")),
        imprint=f"Codebook {codebook_version(codebook)}.",
    )  # fmt: skip
