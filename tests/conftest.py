"""The demo study, run once for all tests that look at it whole, and a browser for pages."""

import io
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from selenium import webdriver

from pipeline.cli import app
from pipeline.terminal import guarded
from tests import reported

BROWSER, DRIVER = (
    shutil.which(name) or f"/usr/bin/{name}" for name in ("chromium", "chromedriver")
)
Command = Callable[..., "subprocess.CompletedProcess[str]"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoRun:
    """A demo study that was run from the command line, and what it printed."""

    folder: Path
    printed: str
    errors: str
    exit_code: int

    @property
    def out(self) -> Path:
        return self.folder / "out"


def sulca(*arguments: str, env: dict[str, str] | None = None) -> "subprocess.CompletedProcess[str]":
    """Run the command as a user does, in a process of its own."""
    return subprocess.run(
        [sys.executable, "-c", "from pipeline.cli import main; main()", *arguments],
        capture_output=True, text=True, encoding="utf-8", check=False,
        env={**os.environ, "PYTHONUTF8": "1", **(env or {})},
    )  # fmt: skip


def called(*arguments: str) -> "subprocess.CompletedProcess[str]":
    """Run the command in this process, which has loaded the libraries already."""
    out, errors, code = io.StringIO(), io.StringIO(), 0
    with redirect_stdout(out), redirect_stderr(errors):
        try:
            guarded(lambda: app(list(arguments), prog_name="sulca"))
        except SystemExit as ended:
            code = ended.code if isinstance(ended.code, int) else int(ended.code is not None)
    return subprocess.CompletedProcess(arguments, code, out.getvalue(), errors.getvalue())


@pytest.fixture(scope="session")
def run_sulca() -> Command:
    """Give the command line, in a process of its own, as a function of its arguments."""
    return sulca


@pytest.fixture(scope="session")
def call_sulca() -> Command:
    """Give the command line as `run_sulca` does, for tests to which the process is nothing."""
    return called


@pytest.fixture(scope="session")
def demo_run(tmp_path_factory: pytest.TempPathFactory) -> DemoRun:
    """Run `sulca demo` once."""
    folder = tmp_path_factory.mktemp("demo") / "demo-study"
    done = sulca("demo", str(folder))
    return DemoRun(
        folder=folder, printed=done.stdout, errors=done.stderr, exit_code=done.returncode
    )


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    """Start headless Chromium without a network; on a build server it must be there."""
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
    offline = {"offline": True, "latency": 0, "downloadThroughput": 0, "uploadThroughput": 0}
    driver.execute_cdp_cmd("Network.enable", {})
    driver.execute_cdp_cmd("Network.emulateNetworkConditions", offline)
    yield driver
    driver.quit()


@pytest.fixture(scope="session")
def open_page(browser: webdriver.Chrome) -> Callable[..., webdriver.Chrome]:
    """Give a function that opens a page and asserts that it fits its window and is quiet."""

    def opened(path: Path, *, width: int) -> webdriver.Chrome:
        browser.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 600},
        )
        browser.get(path.as_uri())
        inner, scroll = browser.execute_script(
            "return [document.documentElement.clientWidth, document.documentElement.scrollWidth]"
        )
        assert inner == width
        assert scroll <= width
        assert browser.get_log("browser") == []
        return browser

    return opened


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Hand over to the process that writes the last lines, where tests run in several."""
    output = getattr(session.config, "workeroutput", None)
    if output is not None:
        output["reported"] = reported.handed_over()


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """Take over what another process has to say."""
    output = getattr(node, "workeroutput", {})
    if "reported" in output:
        reported.take_over(output["reported"])


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Write what tests said, and count what the methods were held against."""
    for line in reported.last_lines():
        terminalreporter.write_line(line)
