"""A server for this machine's own browser: loopback only, answers only requests that name it as host and carry the
token of the address that the terminal showed."""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit

from ringpull.errors import BadUsage

LOOPBACK = "127.0.0.1"

# With every answer; pages say the rest of their policy themselves
GUARDS = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "frame-ancestors 'none'",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
}


class Refused(Exception):
    """A request that is not answered: status, and why."""

    def __init__(self, status: int, why: str) -> None:
        super().__init__(why)
        self.status = status


class LocalServer(ThreadingHTTPServer):
    """`port` 0 takes any free one. Raises BadUsage where the port can't be used."""

    daemon_threads = True
    request_queue_size = 64  # several pages at once, each with several connections

    def __init__(self, handler: type[LocalHandler], port: int = 0) -> None:
        if not 0 <= port < 65536:
            raise BadUsage(f"{port} is no port", "a slip of the keyboard", "take a number from 1024 to 65535")
        try:
            super().__init__((LOOPBACK, port), handler)
        except OSError as fault:
            raise BadUsage(
                f"port {port} can't be used: {fault.strerror}", "another program uses it", "leave --port out"
            ) from None
        self.token = secrets.token_urlsafe(24)  # other users of this machine reach the port too
        self.names = {f"{name}:{self.server_port}" for name in (LOOPBACK, "localhost")}

    @property
    def url(self) -> str:
        """The address to open: its token becomes a cookie."""
        return f"http://{LOOPBACK}:{self.server_port}/?token={self.token}"

    @property
    def cookie(self) -> str:
        """What a page of this server sends with each request."""
        return f"ringpull_{self.server_port}={self.token}"

    def handle_error(self, request: object, client_address: object) -> None:
        """A connection that broke off, as when a page is left, is nothing to tell."""


class LocalHandler(BaseHTTPRequestHandler):
    """One connection. `gets` and `posts` give what answers each path: functions of the request's parameters."""

    protocol_version = "HTTP/1.1"
    disable_nagle_algorithm = True  # else every answer waits 40 ms for the one before to be acknowledged
    timeout = 300  # s without a word, after which a connection is closed
    server: LocalServer

    def gets(self) -> dict[str, Callable[[dict[str, str]], None]]:
        """Path -> what answers a GET."""
        return {}

    def posts(self) -> dict[str, Callable[[dict[str, str]], None]]:
        """Path -> what answers a POST."""
        return {}

    def log_message(self, format: str, *args: object) -> None:
        """Nothing is printed for each request."""

    def do_GET(self) -> None:
        self._answer(self.gets())

    def do_POST(self) -> None:
        self._answer(self.posts())

    def _answer(self, known: dict) -> None:
        try:
            hosts = self.headers.get_all("Host") or [""]
            if len(hosts) > 1 or hosts[0] not in self.server.names or not self.path.startswith("/"):
                raise Refused(403, "this page is only served to the machine it runs on")
            origin = self.headers.get("Origin")
            if origin is not None and origin.removeprefix("http://") not in self.server.names:
                raise Refused(403, "another page asked for this")
            split = urlsplit(self.path)
            asked = {key: values[-1] for key, values in parse_qs(split.query).items()}
            if split.path == "/" and _same(asked.get("token", ""), self.server.token):
                return self._enter()
            cookies = "; ".join(self.headers.get_all("Cookie") or []).split("; ")
            if not any(_same(one, self.server.cookie) for one in cookies):
                raise Refused(403, "open the address that the terminal shows, with its token")
            if split.path not in known:
                raise Refused(404, "there is nothing here")
            known[split.path](asked)
        except Refused as refused:
            self.close_connection = True
            self.send(str(refused).encode(), "text/plain; charset=utf-8", refused.status)
        except (LookupError, ValueError, TypeError, ArithmeticError, RecursionError):
            self.close_connection = True
            self.send(b"this request has no meaning", "text/plain; charset=utf-8", 400)
        except ConnectionError:
            self.close_connection = True
        except OSError as fault:
            self.close_connection = True
            self.send(f"this can't be done: {fault.strerror}".encode(), "text/plain; charset=utf-8", 500)

    def _enter(self) -> None:
        """The token was right: it becomes a cookie, and leaves the address."""
        self.send_response(303)
        self.send_header("Location", "/")
        self.send_header("Set-Cookie", f"{self.server.cookie}; HttpOnly; SameSite=Strict; Path=/")
        self.send_header("Cache-Control", "no-store")
        self.send_header("Content-Length", "0")
        self.end_headers()

    def send(self, body: bytes, kind: str, status: int = 200) -> None:
        """Answer with these bytes."""
        self.send_head(kind, status, Content_Length=str(len(body)))
        self.wfile.write(body)

    def send_head(self, kind: str, status: int = 200, **more: str) -> None:
        """Begin an answer, guarded."""
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Cache-Control", "no-store")
        for name, value in GUARDS.items():
            self.send_header(name, value)
        for name, value in more.items():
            self.send_header(name.replace("_", "-"), value)
        self.end_headers()

    def send_json(self, value: object, status: int = 200) -> None:
        """Answer with a value."""
        self.send(json.dumps(value).encode(), "application/json", status)


def _same(given: str, wanted: str) -> bool:
    """Whether two texts are the same, found in a time that tells nothing of where they differ."""
    return secrets.compare_digest(given.encode("utf-8", "replace"), wanted.encode())
