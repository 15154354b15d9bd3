"""The server answers one person on this machine, and nobody without the token."""

import http.client
import json
from urllib.parse import urlsplit

import pytest

from pipeline.explore.explorer import Explorer, sent_of


def ask(
    address: str, path: str, *, body: bytes | None = None, headers: dict[str, str] | None = None
) -> tuple[int, str]:
    parts = urlsplit(address)
    connection = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=30)
    connection.request("GET" if body is None else "POST", path, body, headers or {})
    answer = connection.getresponse()
    text = answer.read().decode()
    assert "frame-ancestors 'none'" in (answer.getheader("Content-Security-Policy") or "")
    assert answer.getheader("Access-Control-Allow-Origin") is None
    connection.close()
    return answer.status, text


def switches(explorer: Explorer) -> bytes:
    return json.dumps(sent_of(explorer.study)).encode()


JSON = {"Content-Type": "application/json"}


def test_the_page_and_a_preview_come_with_the_token(address: str, explorer: Explorer) -> None:
    path = urlsplit(address).path
    status, page = ask(address, path)
    assert (status, "What the switches leave" in page) == (200, True)
    status, part = ask(address, f"{path}preview", body=switches(explorer), headers=JSON)
    assert (status, "Stifles, A, all eligible" in part) == (200, True)


def test_it_listens_on_this_machine_only_with_a_token_of_its_own(
    address: str, explorer: Explorer
) -> None:
    from pipeline.explore.server import start_server

    other, second = start_server(explorer)
    other.server_close()
    assert urlsplit(address).hostname == "127.0.0.1"
    assert other.server_address[0] == "127.0.0.1"
    assert len(urlsplit(address).path) > 30
    assert urlsplit(address).path != urlsplit(second).path


@pytest.mark.parametrize("path", ["/", "/wrong/", "/wrong/save", "/../../etc/passwd"])
def test_without_the_token_there_is_nothing(address: str, explorer: Explorer, path: str) -> None:
    before = explorer.path.read_bytes()
    assert ask(address, path) == (403, "Not from here.")
    assert ask(address, path, body=switches(explorer), headers=JSON) == (403, "Not from here.")
    assert explorer.path.read_bytes() == before


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "rebound.example"},
        {"Origin": "http://elsewhere.example"},
        {"Content-Type": "text/plain"},
        {"Content-Length": str(1 << 20)},
    ],
)
def test_what_another_page_could_send_is_refused(
    address: str, explorer: Explorer, headers: dict[str, str]
) -> None:
    path = f"{urlsplit(address).path}save"
    sent = {**JSON, **headers}
    assert ask(address, path, body=switches(explorer), headers=sent)[0] == 403


def test_a_body_that_is_no_object_is_refused(address: str) -> None:
    path = f"{urlsplit(address).path}preview"
    for body in (b"[]", b"{", b"\xff"):
        assert ask(address, path, body=body, headers=JSON)[0] == 403
