"""One page offered on this network, for as long as it is served: under a random path, and nothing
else."""

import secrets
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from energy.plan import PlanError
from energy.show.files import reason

ELSEWHERE = "192.0.2.1"  # of no network (RFC 5737): nothing is sent to it
SECRET_BYTES = 12  # of the path: far too many to be guessed, few enough for a small code
LONGEST_WAIT_S = 20.0  # for what a telephone asks
KEPT_S = 31_536_000  # the address never shows anything else


class NotServed(PlanError):
    """The page cannot be offered here."""

    status = 3


class _OnePage(BaseHTTPRequestHandler):
    """Answers for one path with one page; keeps no log."""

    server_version, sys_version, timeout = "energy", "", LONGEST_WAIT_S

    def __init__(self, path: str, html: bytes, *request: Any) -> None:
        self._path, self._html = path, html
        super().__init__(*request)

    def do_GET(self) -> None:
        if self._head():
            self.wfile.write(self._html)

    def do_HEAD(self) -> None:
        self._head()

    def _head(self) -> bool:
        """Send what comes before the page; whether the page is what is asked for."""
        if self.path != self._path:
            self.send_error(HTTPStatus.NOT_FOUND, explain="There is nothing here.")
            return False
        self.send_response(HTTPStatus.OK)
        for name, value in (
            ("Content-Type", "text/html; charset=utf-8"),
            ("Content-Length", str(len(self._html))),
            ("Cache-Control", f"private, max-age={KEPT_S}, immutable"),
            ("Referrer-Policy", "no-referrer"),
            ("X-Content-Type-Options", "nosniff"),
        ):
            self.send_header(name, value)
        self.end_headers()
        return True

    def log_message(self, format: str, *arguments: Any) -> None:
        """Say nothing of who asked for what."""


class _Server(ThreadingHTTPServer):
    """Serves in threads that end with it; a telephone that hangs up is no fault."""

    daemon_threads = True

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Say nothing."""


def this_machine() -> str:
    """The address of this machine on its network. Raises NotServed where there is none."""
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect((ELSEWHERE, 9))
            address = str(probe.getsockname()[0])
    except OSError as error:
        raise NotServed([f"--serve: this machine is on no network ({reason(error)})"]) from None
    if address == "0.0.0.0":
        raise NotServed(["--serve: this machine is on no network"])
    return address


@contextmanager
def offered(
    html: str, host: str | None = None, port: int = 0
) -> Iterator[tuple[str, ThreadingHTTPServer]]:
    """Offer a page: its address, and the server, which answers as long as it is told to.

    html: the page.
    host: this machine's address on the network; None: looked up.
    port: 0: any that is free.

    Raises NotServed with one line where the address is refused.

    >>> with offered("<p>the page</p>", "127.0.0.1") as (address, _):
    ...     address.startswith("http://127.0.0.1:")
    True
    """
    host, path = host or this_machine(), f"/{secrets.token_urlsafe(SECRET_BYTES)}"
    try:
        server = _Server((host, port), partial(_OnePage, path, html.encode()))
    except (OSError, OverflowError) as error:
        where = f"{host}:{port}" if port else host
        raise NotServed([f"--serve: {where} cannot be used ({reason(error)})"]) from None
    with server:
        yield f"http://{host}:{server.server_address[1]}{path}", server


def code_lines(address: str) -> list[str]:
    """An address as a code for cameras, drawn with half blocks, light on dark.

    >>> len(code_lines("http://192.0.2.1:8000/abc")[0])
    29
    """
    from io import StringIO

    import segno

    drawn = StringIO()
    segno.make(address, error="m", micro=False).terminal(out=drawn, compact=True, border=2)
    return drawn.getvalue().splitlines()
