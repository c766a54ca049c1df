"""The page on the network: one path answers with one page, and nothing else is there.

All on this machine's own address; what HTTP asks of a server is RFC 9110, from memory.
"""

import http.client
import socket
import threading
from contextlib import contextmanager
from urllib.parse import urlsplit

import pytest

from energy.answers.page import server as served
from energy.answers.page.server import NotServed, code_lines, offered, this_machine
from energy.answers.page.words import served_lines

HERE = "127.0.0.1"
HTML = "<!doctype html><title>caf\u00e9</title>"


@contextmanager
def serving(html=HTML):
    """The page on offer: its host with port, and its path."""
    with offered(html, HERE) as (address, server):
        threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True).start()
        try:
            parts = urlsplit(address)
            yield parts.netloc, parts.path
        finally:
            server.shutdown()


def asked(netloc, path, method="GET"):
    connection = http.client.HTTPConnection(netloc, timeout=10)
    connection.request(method, path)
    answer = connection.getresponse()
    return answer, answer.read()


def test_the_page_comes_whole_under_its_path():
    with serving() as (netloc, path):
        answer, body = asked(netloc, path)
    assert (answer.status, body.decode()) == (200, HTML)
    assert answer.getheader("Content-Type") == "text/html; charset=utf-8"
    assert int(answer.getheader("Content-Length")) == len(HTML.encode())


def test_head_gives_the_same_without_the_page():
    with serving() as (netloc, path):
        answer, body = asked(netloc, path, "HEAD")
    assert (answer.status, body) == (200, b"")
    assert int(answer.getheader("Content-Length")) == len(HTML.encode())


@pytest.mark.parametrize("also", ["", "/", "?", "/..", "%2e", "index.html"])
@pytest.mark.parametrize("method", ["GET", "HEAD"])
def test_nothing_else_is_there(also, method):
    with serving() as (netloc, path):
        paths = [path + also] if also else ["/", "/etc/passwd", "/../page.py", path[:-1], "*"]
        for other in paths:
            answer, body = asked(netloc, other, method)
            assert answer.status == 404
            assert b"caf" not in body


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS", "TRACE", "PATCH"])
def test_no_other_method_is_answered(method):
    with serving() as (netloc, path):
        assert asked(netloc, path, method)[0].status == 501


def test_a_request_leaves_no_trace(capfd):
    with serving() as (netloc, path):
        asked(netloc, path)
        asked(netloc, "/elsewhere")
        with socket.create_connection(netloc.split(":")) as hangs_up:
            hangs_up.sendall(b"GE")
    assert capfd.readouterr() == ("", "")


def test_two_pages_have_two_addresses():
    with offered(HTML, HERE) as (one, _), offered(HTML, HERE) as (other, _):
        assert urlsplit(one).path != urlsplit(other).path
        assert len(urlsplit(one).path) >= 16  # 12 random bytes and more


def test_a_port_that_is_taken_is_one_line():
    with (
        offered(HTML, HERE) as (address, _),
        pytest.raises(NotServed, match="cannot be used") as refused,
        offered(HTML, HERE, urlsplit(address).port),
    ):
        pass
    assert len(refused.value.problems) == 1
    assert refused.value.status == 3


class _NoNetwork(socket.socket):
    def connect(self, address):
        raise OSError(101, "Network is unreachable")


def test_no_network_is_one_line(monkeypatch):
    monkeypatch.setattr(served.socket, "socket", _NoNetwork)
    with pytest.raises(NotServed, match="on no network") as refused:
        this_machine()
    assert len(refused.value.problems) == 1


def test_the_code_is_square_with_a_margin():
    """ISO/IEC 18004 (from memory): version 3 is 29 modules wide; here with two all round."""
    lines = code_lines("http://192.168.1.23:49152/0123456789abcdef")
    assert {len(line) for line in lines} == {33}
    assert len(lines) == 17  # two rows a line


def test_a_terminal_gets_the_code_and_a_pipe_the_address_alone():
    address = "http://192.0.2.7:8000/abc"
    plain = [line.plain for line in served_lines(address, code=False)]
    drawn = [line.plain for line in served_lines(address, code=True)]
    assert plain[0] == address
    assert "Anyone on this network" in plain[1]
    assert drawn[-2:] == plain
    assert len(drawn) > 15
