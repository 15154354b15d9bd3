"""The pages in a real browser: no console error, no sideways scrolling of the page."""

from collections.abc import Callable
from pathlib import Path

import pytest
from selenium.webdriver import Chrome

pytestmark = pytest.mark.browser
PAGES = ("report/index.html", "report/surgeon.html", "clinics/north.html", "public/report.html")


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("name", PAGES)
def test_page_fits_and_is_quiet(
    open_page: Callable[..., Chrome], pages: Path, name: str, width: int
) -> None:
    open_page(pages / name, width=width)


def test_tables_scroll_in_boxes_that_the_keyboard_reaches(
    open_page: Callable[..., Chrome], pages: Path
) -> None:
    browser = open_page(pages / PAGES[0], width=1280)
    boxes, named = browser.execute_script(
        "const all = [...document.querySelectorAll('.scroll')];"
        "return [all.length, all.filter(box => box.tabIndex === 0 && box.getAttribute('role') === "
        "'region' && (box.getAttribute('aria-label') || document.getElementById("
        "box.getAttribute('aria-labelledby')))).length]"
    )
    assert boxes == named
    assert boxes > 10
    browser.execute_script("document.querySelector('.skip').focus()")
    place = browser.execute_script(
        "return document.querySelector('.skip').getBoundingClientRect().left"
    )
    assert place >= 0
