"""The explorer of a study of two clinics, and its server on this machine."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from threading import Thread

import pytest
from selenium.webdriver import Chrome

from pipeline.explore.explorer import Explorer, open_explorer
from pipeline.explore.server import start_server
from pipeline.run import checked_study
from tests.small_study import small_study


@pytest.fixture(scope="session")
def explored(tmp_path_factory: pytest.TempPathFactory) -> Explorer:
    """Read a study once; tests that save work on a copy of its text."""
    done = checked_study(
        small_study(tmp_path_factory.mktemp("explored") / "study"), lambda _name: None
    )
    return open_explorer(done.linked, done.study)


@pytest.fixture
def explorer(explored: Explorer, tmp_path: Path) -> Explorer:
    """Give an explorer whose study.toml is its own."""
    (tmp_path / "study.toml").write_text(explored.text, "utf-8")
    study = replace(explored.study, folder=tmp_path)
    return Explorer(linked=explored.linked, study=study, text=explored.text, saved=explored.saved)


@pytest.fixture
def address(explorer: Explorer) -> Iterator[str]:
    """Serve it."""
    server, address = start_server(explorer)
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield address
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.fixture
def reach_server(browser: Chrome) -> Iterator[Callable[[], None]]:
    """Let the browser, which is kept from any network, reach the server of this machine."""
    command = "Network.emulateNetworkConditions"
    still = {"latency": 0, "downloadThroughput": 0, "uploadThroughput": 0}
    open_way = {"latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
    yield lambda: browser.execute_cdp_cmd(command, {"offline": False, **open_way})
    browser.get("about:blank")
    browser.execute_cdp_cmd(command, {"offline": True, **still})
