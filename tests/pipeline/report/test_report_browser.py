"""The pages in a real browser: no console error, no sideways scrolling of the page."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium import webdriver

pytestmark = pytest.mark.browser
BROWSER, DRIVER = (
    shutil.which(name) or f"/usr/bin/{name}" for name in ("chromium", "chromedriver")
)
PAGES = ("report/index.html", "report/surgeon.html", "clinics/north.html", "public/report.html")


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    found = Path(BROWSER).exists() and Path(DRIVER).exists()
    if not found and not os.environ.get("CI"):
        pytest.skip("no Chromium with its driver on this machine")
    options = webdriver.ChromeOptions()
    options.binary_location = BROWSER
    for flag in ("--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run",
                 "--disable-background-networking", "--disable-component-update",
                 "--disable-sync", "--disable-dev-shm-usage", "--hide-scrollbars",
                 f"--user-data-dir={tmp_path_factory.mktemp('browser')}"):  # fmt: skip
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    yield driver
    driver.quit()


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("name", PAGES)
def test_page_fits_and_is_quiet(
    browser: webdriver.Chrome, pages: Path, name: str, width: int
) -> None:
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 600},
    )
    browser.get((pages / name).as_uri())
    inner, scroll = browser.execute_script(
        "return [document.documentElement.clientWidth, document.documentElement.scrollWidth]"
    )
    assert inner == width
    assert scroll <= width
    assert browser.get_log("browser") == []


def test_tables_scroll_in_boxes_that_the_keyboard_reaches(
    browser: webdriver.Chrome, pages: Path
) -> None:
    browser.get((pages / PAGES[0]).as_uri())
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
