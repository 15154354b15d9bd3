"""The demo's pages in a real browser without a network, and where their links lead."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import pytest
from selenium.webdriver import Chrome

pytestmark = pytest.mark.browser
PAGES = ("report/index.html", "report/surgeon.html", "clinics/lake.html", "public/report.html")
LINKS = (
    "return [...document.querySelectorAll('[href], [src]')]"
    ".map(item => item.href || item.src).filter(link => !link.startsWith('data:'))"
)


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("name", PAGES)
def test_a_page_of_the_demo_fits_and_is_quiet(
    demo_run: Any, open_page: Callable[..., Chrome], name: str, width: int
) -> None:
    browser = open_page(demo_run.out / name, width=width)
    broken = browser.execute_script(
        "return [...document.images].filter(image => !image.naturalWidth).map(image => image.alt)"
    )
    assert broken == []


@pytest.mark.parametrize("name", PAGES)
def test_every_link_of_a_page_of_the_demo_leads_somewhere(
    demo_run: Any, open_page: Callable[..., Chrome], name: str
) -> None:
    links = open_page(demo_run.out / name, width=1280).execute_script(LINKS)
    assert links
    assert [link for link in links if not _leads_somewhere(link)] == []


def _leads_somewhere(link: str) -> bool:
    """Whether a link stays on this machine, at a file that exists, at a place inside it."""
    parts = urlsplit(link)
    path = Path(unquote(parts.path))
    if parts.scheme != "file" or not path.is_file():
        return False
    if not parts.fragment:
        return True
    place = re.escape(unquote(parts.fragment))
    return re.search(rf'\bid="{place}"', path.read_text("utf-8")) is not None
