"""A server on this machine that answers as the two weather services do, or fails in every way.

All numbers are invented: a cloudless sky (Haurwitz 1945, by pvlib) dimmed from day to day. The
shapes of the answers are from memory and from pvlib's `get_nasa_power`. No test lives here.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Event, Thread
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import numpy as np
import pandas as pd
import pvlib
import pytest

from energy.weather.fetched.cache import Cached, Forecast, forecast_near, history_near
from energy.weather.fetched.online import fetch_forecast, fetch_history
from energy.weather.record import Record

TODAY = date(2026, 11, 25)
LIGHT = "ALLSKY_SFC_SW_DWN"
LATITUDE, LONGITUDE, ELEVATION_M = 50.0, 10.0, 312.0
FILL = -777.0  # not the customary one: which it is stands in the answer
MEMBERS = 5
REASON = "Cannot do\nthis \x1b[31m today"


@dataclass
class Seen:
    """Where a server listens, and what it was asked."""

    address: str
    questions: list[dict[str, str]] = field(default_factory=list)
    agents: list[str] = field(default_factory=list)
    over: Event = field(default_factory=Event)


Reply = Callable[[BaseHTTPRequestHandler, dict[str, str], Seen], None]


@contextmanager
def serving(reply: Reply) -> Iterator[Seen]:
    """A server whose every answer `reply` writes; it ends with the block, stuck answers too."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            question = dict(parse_qsl(urlsplit(self.path).query))
            seen.questions.append(question)
            seen.agents.append(self.headers["User-Agent"])
            try:
                reply(self, question, seen)
            except (BrokenPipeError, ConnectionResetError):  # who asked has gone
                self.close_connection = True

        def log_message(self, *_: object) -> None:
            """Keep the tests' output clean."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    seen = Seen(f"http://127.0.0.1:{server.server_port}/weather")
    running = Thread(target=server.serve_forever, args=(0.01,))
    running.start()
    try:
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("NO_PROXY", "127.0.0.1")  # a proxy could not reach this very machine
            yield seen
    finally:
        seen.over.set()
        server.shutdown()
        running.join()
        server.socket.close()


def send(to: BaseHTTPRequestHandler, status: int, body: bytes, **headers: str) -> None:
    """Write a whole answer."""
    to.send_response(status)
    for name, value in {"Content-Length": str(len(body)), **headers}.items():
        to.send_header(name, value)
    to.end_headers()
    to.wfile.write(body)


# --- the two services ---------------------------------------------------------------------------


def cloudless(begin: pd.DatetimeIndex) -> np.ndarray:
    """Mean light on the flat in the hours that begin at these moments in UTC, W/m2."""
    middle = begin + pd.Timedelta(minutes=30)
    zenith = pvlib.solarposition.get_solarposition(middle, LATITUDE, LONGITUDE)["apparent_zenith"]
    return pvlib.clearsky.haurwitz(zenith)["ghi"].to_numpy()


def power_year(year: int) -> dict[str, Any]:
    """One year of hours as NASA POWER answers."""
    begin = pd.date_range(f"{year}-01-01", f"{year}-12-31 23:00", freq="h", tz="UTC")
    keys = begin.strftime("%Y%m%d%H").tolist()
    clearness = np.random.default_rng(year).uniform(0.3, 1.0, 366)[begin.day_of_year - 1]
    light = (cloudless(begin) * clearness).round(2)
    columns = {
        "ALLSKY_SFC_SW_DWN": (light, "Wh/m^2"),
        "ALLSKY_SFC_SW_DIFF": ((0.4 * light).round(2), "Wh/m^2"),
        "T2M": (8.0 + 0.01 * light, "C"),
        "WS10M": (np.full(len(begin), 3.5), "m/s"),
    }
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [LONGITUDE, LATITUDE, ELEVATION_M]},
        "properties": {
            "parameter": {
                name: dict(zip(keys, values.tolist(), strict=True))
                for name, (values, _) in columns.items()
            }
        },
        "header": {"fill_value": FILL, "time_standard": "UTC"},
        "messages": [],
        "parameters": {name: {"units": unit} for name, (_, unit) in columns.items()},
        "times": {"data": 0.1},
    }


def ensemble(days: int, suffix: str = "") -> dict[str, Any]:
    """A forecast as Open-Meteo's ensemble service answers, from 00:00 UTC today on.

    Each member is a little warmer and dimmer than the one before it.
    """
    stamps = pd.date_range(pd.Timestamp.now("UTC").floor("D"), periods=24 * days, freq="h")
    light = cloudless(stamps - pd.Timedelta(hours=1))
    hourly: dict[str, Any] = {"time": stamps.strftime("%Y-%m-%dT%H:%M").tolist()}
    units = {"time": "iso8601"}
    for number in range(MEMBERS + 1):
        tail = (f"_member{number:02d}" if number else "") + suffix
        values = {
            "shortwave_radiation": ((1 - 0.1 * number) * light, "W/m²"),
            "temperature_2m": (10.0 + number + 0.5 * np.arange(24 * days) % 12, "°C"),
            "wind_speed_10m": (np.arange(24 * days) % 7 + 1.0, "m/s"),
        }
        for name, (column, unit) in values.items():
            hourly[name + tail] = column.tolist()
            units[name + tail] = unit
    return {
        "latitude": LATITUDE + 0.03,
        "longitude": LONGITUDE - 0.02,
        "elevation": ELEVATION_M,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "hourly_units": units,
        "hourly": hourly,
    }


# --- the client before them ---------------------------------------------------------------------


def history(reply: Reply, folder: Path, years: int = 1, **options: Any) -> Cached:
    """Fetch years from a server that answers so."""
    with serving(reply) as seen:
        options = {"address": seen.address, "folder": folder, "today": TODAY} | options
        return fetch_history(LATITUDE, LONGITUDE, years, **options)


def forecast(reply: Reply, folder: Path, days: int = 3, **options: Any) -> Cached:
    """Fetch a forecast from a server that answers so."""
    with serving(reply) as seen:
        options = {"address": seen.address, "folder": folder, "days": days} | options
        return fetch_forecast(LATITUDE, LONGITUDE, **options)


def the_record(folder: Path) -> Record:
    """The history held in a folder."""
    record = history_near(LATITUDE, LONGITUDE, folder)
    assert record is not None
    return record


def the_forecast(folder: Path) -> Forecast:
    """The forecast held in a folder."""
    found = forecast_near(LATITUDE, LONGITUDE, folder)
    assert found is not None
    return found


# --- answers that differ ------------------------------------------------------------------------

Change = Callable[[dict[str, Any]], object]


def service(change: Change | None = None, suffix: str = "") -> Reply:
    """Either service, told apart by what it is asked; `change` spoils its answer."""

    def reply(to: BaseHTTPRequestHandler, question: dict[str, str], _: Seen) -> None:
        if "start" in question:
            answer = power_year(int(question["start"][:4]))
        else:
            answer = ensemble(int(question["forecast_days"]), suffix)
        if change is not None:
            change(answer)
        send(to, 200, json.dumps(answer).encode())

    return reply


def without(*keys: str) -> Change:
    """The fill value for the light of these hours."""

    def change(answer: dict[str, Any]) -> None:
        answer["properties"]["parameter"][LIGHT].update(dict.fromkeys(keys, FILL))

    return change


def ends(key: str, stamp: int) -> Change:
    """Null in a forecast's column from this stamp on."""

    def change(answer: dict[str, Any]) -> None:
        column = answer["hourly"][key]
        column[stamp:] = [None] * len(column[stamp:])

    return change


def put(value: object, *keys: Any) -> Change:
    """Another value under these keys, at all depths."""

    def change(answer: dict[str, Any]) -> None:
        at: Any = answer
        for key in keys[:-1]:
            at = at[key]
        at[keys[-1]] = value

    return change


def drop(*keys: Any) -> Change:
    """Nothing under these keys."""

    def change(answer: dict[str, Any]) -> None:
        at: Any = answer
        for key in keys[:-1]:
            at = at[key]
        del at[keys[-1]]

    return change


# --- ways to fail -------------------------------------------------------------------------------


def answers(status: int, body: object = None, **headers: str) -> Reply:
    """Always this status; a body that is no bytes is sent as JSON."""
    raw = body if isinstance(body, bytes) else json.dumps(body).encode()
    return lambda to, question, seen: send(to, status, raw, **headers)


def silent(to: BaseHTTPRequestHandler, question: dict[str, str], seen: Seen) -> None:
    """Never answer."""
    seen.over.wait()


def hangs_up(to: BaseHTTPRequestHandler, question: dict[str, str], seen: Seen) -> None:
    """Close without a word."""
    to.close_connection = True


def trickles_head(to: BaseHTTPRequestHandler, question: dict[str, str], seen: Seen) -> None:
    """A byte of the head every 50 ms, so that no single wait is long."""
    _drip(to, b"HTTP/1.0 200 OK\r\nX-Slow: " + b"a" * 10_000, seen)


def trickles_body(to: BaseHTTPRequestHandler, question: dict[str, str], seen: Seen) -> None:
    """A byte of the body every 50 ms."""
    to.send_response(200)
    to.end_headers()
    _drip(to, b"[" + b" " * 10_000, seen)


def _drip(to: BaseHTTPRequestHandler, body: bytes, seen: Seen) -> None:
    for byte in body:
        if seen.over.is_set():
            return
        to.wfile.write(bytes([byte]))
        time.sleep(0.05)


def stops_half_way(to: BaseHTTPRequestHandler, question: dict[str, str], seen: Seen) -> None:
    """Half of the body that the head promises."""
    body = json.dumps(ensemble(7)).encode()
    to.send_response(200)
    to.send_header("Content-Length", str(len(body)))
    to.end_headers()
    to.wfile.write(body[: len(body) // 2])


def ends_half_way(to: BaseHTTPRequestHandler, question: dict[str, str], seen: Seen) -> None:
    """Half of a body whose length no head tells."""
    body = json.dumps(ensemble(7)).encode()
    to.send_response(200)
    to.end_headers()
    to.wfile.write(body[: len(body) // 2])


def never_ends(to: BaseHTTPRequestHandler, question: dict[str, str], seen: Seen) -> None:
    """A body without end, as fast as it is read."""
    to.send_response(200)
    to.end_headers()
    while not seen.over.is_set():
        to.wfile.write(b" " * 1_000_000)
