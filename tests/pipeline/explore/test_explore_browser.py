"""The page in a real browser: a switch is moved, numbers follow, and the protocol is saved."""

from collections.abc import Callable

import pytest
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

from pipeline.cohort import build_cohort
from pipeline.explore.explorer import Explorer
from pipeline.study import read_study

pytestmark = pytest.mark.browser
READ = """
const row = [...document.querySelectorAll("#result tbody tr")]
    .find(line => line.querySelector("th").textContent === "Stifles, A, all eligible");
return row ? [...row.querySelectorAll("td")].map(cell => cell.textContent) : [];
"""


def in_a(browser: Chrome) -> list[str]:
    """Read the two numbers in one step: the page may put others in their place meanwhile."""
    return browser.execute_script(READ)


@pytest.mark.parametrize("width", [360, 1280])
def test_the_page_fits_and_is_quiet(
    address: str, browser: Chrome, width: int, reach_server: Callable[[], None]
) -> None:
    reach_server()
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {
        "width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 600})  # fmt: skip
    browser.get(address)
    inner, scroll = browser.execute_script(
        "return [document.documentElement.clientWidth, document.documentElement.scrollWidth]"
    )
    assert scroll <= inner == width
    assert browser.get_log("browser") == []


def test_moving_a_switch_and_saving_it(
    address: str, browser: Chrome, explorer: Explorer, reach_server: Callable[[], None]
) -> None:
    reach_server()
    browser.get(address)
    saved = str(build_cohort(explorer.linked, explorer.study).counts["set_a"])
    assert in_a(browser) == [saved, saved]
    browser.find_element(By.CSS_SELECTOR, "input[name='eligibility.grades'][value='2']").click()
    WebDriverWait(browser, 20).until(lambda page: len(in_a(page)) == 2 and in_a(page)[1] != saved)
    assert "-grades = [2, 3, 4]" in browser.find_element(By.TAG_NAME, "pre").text
    fewer = in_a(browser)[1]
    told = browser.find_element(By.CSS_SELECTOR, "#told[role='status']")
    assert "numbers differ from the saved protocol" in str(told.get_attribute("textContent"))
    browser.find_element(By.ID, "save").click()
    WebDriverWait(browser, 20).until(lambda page: in_a(page) == [fewer, fewer])
    again = read_study(explorer.study.folder)
    assert again.eligibility.grades == (3, 4)
    assert str(build_cohort(explorer.linked, again).counts["set_a"]) == fewer
    assert browser.get_log("browser") == []
