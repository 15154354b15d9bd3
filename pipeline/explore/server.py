"""A server for one person on this machine: 127.0.0.1 only, and nothing without the token."""

import hmac
import json
import secrets
from collections.abc import Callable, Mapping
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from pipeline.explore.explorer import Explorer

LOCAL = "127.0.0.1"
MOST_BYTES = 1 << 16  # of a request; the switches take about one thousand
SECONDS = 30  # to send one
HEADERS: Mapping[str, str] = {
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; "
    "script-src 'unsafe-inline'; connect-src 'self'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'",
    "Cache-Control": "no-store", "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}  # fmt: skip


def start_server(explorer: Explorer, port: int = 0) -> tuple[ThreadingHTTPServer, str]:
    """Bind a server to this machine; give it and the address with its token.

    Raises
    ------
    OSError
        If the port is taken.
    """
    token = secrets.token_urlsafe(24)

    class Handler(_Handler):
        pass

    Handler.explorer, Handler.token = explorer, token
    server = ThreadingHTTPServer((LOCAL, port), Handler)
    server.daemon_threads = True
    return server, f"http://{LOCAL}:{server.server_address[1]}/{token}/"


class _Handler(BaseHTTPRequestHandler):
    """Answers three requests: the page, what some switches leave, and saving them."""

    explorer: Explorer
    token: str
    timeout = SECONDS
    server_version, sys_version = "sulca", ""

    def do_GET(self) -> None:
        """Give the page."""
        if self._is_allowed() and self._asked() == "":
            self._answer(HTTPStatus.OK, self.explorer.page(), "text/html")
        else:
            self._refuse()

    def do_POST(self) -> None:
        """Give what the switches leave, or save them."""
        asked: Mapping[str, Callable[[Mapping[str, object]], str]] = {
            "preview": self.explorer.preview, "save": self.explorer.save,
        }  # fmt: skip
        what = self._asked() or ""
        sent = self._sent() if self._is_allowed() and what in asked else None
        if sent is None:
            self._refuse()
        else:
            self._answer(HTTPStatus.OK, asked[what](sent), "text/html")

    def log_message(self, format: str, *args: object) -> None:
        """Write nothing: the address holds the token."""

    def _is_allowed(self) -> bool:
        """Whether the request names this server: another site's name may lead here too."""
        here = f"{LOCAL}:{self.server.server_address[1]}"  # type: ignore[index]
        origin = self.headers.get("Origin")
        return self.headers.get("Host") == here and origin in (None, f"http://{here}")

    def _asked(self) -> str | None:
        """Give what follows the token in the path, None where the token is not right."""
        first, _, rest = self.path.removeprefix("/").partition("/")
        if not hmac.compare_digest(first.encode(), self.token.encode()):
            return None
        return rest

    def _sent(self) -> Mapping[str, object] | None:
        length = self.headers.get("Content-Length", "")
        is_json = self.headers.get("Content-Type", "").startswith("application/json")
        if not is_json or not length.isdecimal() or int(length) > MOST_BYTES:
            return None
        try:
            found = json.loads(self.rfile.read(int(length)))
        except ValueError:
            return None
        return found if isinstance(found, dict) else None

    def _refuse(self) -> None:
        self._answer(HTTPStatus.FORBIDDEN, "Not from here.", "text/plain")

    def _answer(self, status: HTTPStatus, text: str, kind: str) -> None:
        content = text.encode()
        self.send_response(status)
        for name, value in HEADERS.items():
            self.send_header(name, value)
        self.send_header("Content-Type", f"{kind}; charset=utf-8")
        self.send_header("Content-Length", str(len(content)))
        self.send_header("Connection", "close")
        self.end_headers()
        self.wfile.write(content)
        self.close_connection = True
