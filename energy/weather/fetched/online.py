"""The one room with a network: fetches measured years and forecasts, only when asked to.

An answer goes into the cache after all of it has been checked. Whatever goes wrong before ends in
one line, and the cache stays as it was. What an answer means is for `power` and `ensemble`.
"""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable
from concurrent.futures import Future
from datetime import UTC, date, datetime
from pathlib import Path
from threading import Thread
from typing import Any, NamedTuple, NoReturn
from urllib.parse import urlsplit

import requests

from energy.plan.words import one_line
from energy.version import __version__
from energy.weather.fetched import ensemble, power
from energy.weather.fetched.cache import (
    DISTRIBUTION,
    About,
    Cached,
    Forecast,
    cache_folder,
    save_forecast,
    save_history,
)
from energy.weather.fetched.ensemble import (
    ENSEMBLE,
    ENSEMBLE_ADDRESS,
    ENSEMBLE_LICENCE,
    ENSEMBLE_MODEL,
)
from energy.weather.fetched.power import POWER, POWER_ADDRESS, POWER_LICENCE
from energy.weather.fetched.question import Question, Unavailable
from energy.weather.record import Record, stamp_text

__all__ = ["Unavailable", "fetch_forecast", "fetch_history", "what_forecast", "what_history"]

Progress = Callable[[str], None]

LARGEST_BODY = 50_000_000  # bytes; some fifty times what either service sends
LONGEST_REASON = 160
YEAR_MB, DAY_MB = 0.7, 0.03  # counted: four and 3 x 41 numbers an hour, as the services write them


def what_history(
    latitude: float, longitude: float, years: int = 10, *, today: date | None = None
) -> str:
    """One line that says what `fetch_history` fetches, from whom, and what leaves this machine.

    >>> print(what_history(50.0, 10.0, 2, today=date(2026, 11, 25)))
    hourly light, air and wind of 2024 to 2025 from NASA POWER (power.larc.nasa.gov), 2 requests, \
about 1.4 MB; it learns the place, 50.000, 10.000, and this machine's network address; free to \
use; NASA asks to be named as the source
    """
    asked, span = power.history_question(
        latitude, longitude, years, POWER_ADDRESS, today or _today()
    )
    return _what(asked, len(span), YEAR_MB * len(span), POWER_LICENCE)


def what_forecast(
    latitude: float, longitude: float, *, days: int = 7, model: str = ENSEMBLE_MODEL
) -> str:
    """One line that says what `fetch_forecast` fetches, from whom, and what leaves this machine.

    >>> print(what_forecast(50.0, 10.0))
    the forecast of the next 7 days (dwd_icon_seamless_eps) from Open-Meteo \
(ensemble-api.open-meteo.com), 1 request, about 0.2 MB; it learns the place, 50.000, 10.000, \
and this machine's network address; data CC BY 4.0, attribution shown; free for non-commercial use
    """
    asked = ensemble.forecast_question(latitude, longitude, days, model, ENSEMBLE_ADDRESS)
    return _what(asked, 1, DAY_MB * days, ENSEMBLE_LICENCE)


def _what(asked: Question, requests_made: int, size_mb: float, licence: str) -> str:
    return (
        f"{asked.wanted} from {asked.service} ({asked.host}), {requests_made}"
        f" request{'' if requests_made == 1 else 's'}, about {size_mb:.1f} MB; it learns the"
        f" place, {asked.where}, and this machine's network address; {licence}"
    )


def fetch_history(
    latitude: float,
    longitude: float,
    years: int = 10,
    *,
    address: str = POWER_ADDRESS,
    timeout_s: float = 120.0,
    folder: Path | None = None,
    progress: Progress | None = None,
    today: date | None = None,
) -> Cached:
    """Fetch the last whole years of measured hours at a place into the cache, one request a year.

    Args:
        latitude, longitude: degrees north and east; sent to three decimals
        years: how many, 1 or more; the last is one that has been over for half a year
        timeout_s: for one year's whole answer
        folder: of the cache, where it is not the usual one
        progress: told one line before each request
        today: for which day to choose the years, else the day it is

    Eight arguments: what is asked, and where and how, which all but a test leave alone.

    Raises:
        Unavailable: one line; nothing was changed
        PlanError: for a place or a number of years that cannot be asked for

    Source: NASA POWER, hourly, interval-beginning in UTC.
    """
    asked, span = power.history_question(latitude, longitude, years, address, today or _today())
    fetched = []
    for number, year in enumerate(span, 1):
        _tell(progress, f"{POWER}: {year} ({number} of {len(span)})")
        answer = _ask(asked, power.history_parameters(asked, year), timeout_s)
        fetched.append(power.read_year(asked, answer, year))
    now_s, covered = time.time(), power.in_words(span)
    name = f"{POWER} hourly history {covered}, fetched {stamp_text(now_s)[:10]}"
    record = power.join_years(asked, fetched, name)
    return _save(asked, record, now_s, covered, POWER_LICENCE, folder)


def fetch_forecast(
    latitude: float,
    longitude: float,
    *,
    days: int = 7,
    model: str = ENSEMBLE_MODEL,
    address: str = ENSEMBLE_ADDRESS,
    timeout_s: float = 60.0,
    folder: Path | None = None,
    progress: Progress | None = None,
) -> Cached:
    """Fetch the coming days at a place in all runs of one model into the cache.

    Args:
        latitude, longitude: degrees north and east; sent to three decimals
        days: 1 to 35, from 00:00 UTC today; most models end earlier
        model: the service's name of an ensemble model
        timeout_s, folder, progress: as in `fetch_history`, and as many for its reason

    Raises Unavailable and PlanError as `fetch_history`. Source: Open-Meteo's ensemble service.
    """
    asked = ensemble.forecast_question(latitude, longitude, days, model, address)
    _tell(progress, f"{ENSEMBLE}: {days} days")
    answer = _ask(asked, ensemble.forecast_parameters(asked, days, model), timeout_s)
    now_s = time.time()
    forecast = ensemble.read_forecast(asked, answer, days, model, now_s)
    return _save(asked, forecast, now_s, model, ENSEMBLE_LICENCE, folder)


def _today() -> date:
    return datetime.now(UTC).date()


def _tell(progress: Progress | None, line: str) -> None:
    if progress is not None:
        progress(line)


def _save(
    asked: Question,
    weather: Record | Forecast,
    fetched_s: float,
    detail: str,
    licence: str,
    folder: Path | None,
) -> Cached:
    assert weather.elevation_m is not None
    about = About(
        service=asked.service,
        address=asked.address,
        latitude_deg=asked.latitude,
        longitude_deg=asked.longitude,
        elevation_m=weather.elevation_m,
        fetched_s=fetched_s,
        detail=detail,
        licence=licence,
    )
    try:
        if isinstance(weather, Record):
            return save_history(weather, about, folder)
        return save_forecast(weather, about, folder)
    except OSError as error:
        asked.refuse(
            f"it came, but cannot be written to {cache_folder(folder)} ({error.strerror or error})",
            "make room there or choose another folder",
        )


# --- one question, one answer -------------------------------------------------------------------


class _Reply(NamedTuple):
    status: int
    location: str
    body: bytes


def _ask(asked: Question, parameters: dict[str, str], timeout_s: float) -> Any:
    """The JSON that a service answers; everything else is refused."""
    try:
        reply = _in_time(asked.address, parameters, timeout_s)
    except (TimeoutError, requests.Timeout):
        asked.refuse(f"no whole answer came within {timeout_s:g} s")
    except (OSError, ValueError) as error:
        asked.refuse(_failure(error), "check that this machine is online and try again")
    if reply.status != requests.codes.ok:
        _refuse_status(asked, reply)
    if len(reply.body) > LARGEST_BODY:
        asked.refuse(f"its answer is longer than {LARGEST_BODY // 1_000_000} MB")
    try:
        return json.loads(reply.body, parse_constant=_no_number)
    except (ValueError, RecursionError):
        asked.refuse("its answer is cut off or is no JSON")


def _in_time(address: str, parameters: dict[str, str], timeout_s: float) -> _Reply:
    """Get an address, all within `timeout_s`.

    In a thread of its own: a time-out of a socket begins anew with every byte that trickles in,
    and looking up a name has none.
    """
    coming: Future[_Reply] = Future()

    def work() -> None:
        try:
            coming.set_result(_get(address, parameters, timeout_s))
        except BaseException as error:
            coming.set_exception(error)

    Thread(target=work, daemon=True).start()
    return coming.result(timeout_s)


def _get(address: str, parameters: dict[str, str], timeout_s: float) -> _Reply:
    until_s = time.monotonic() + timeout_s
    with requests.get(
        address,
        params=parameters,
        headers={"User-Agent": f"{DISTRIBUTION}/{__version__}", "Accept": "application/json"},
        timeout=timeout_s,
        stream=True,
        allow_redirects=False,
    ) as reply:
        body = bytearray()
        for piece in reply.iter_content(65536):
            body += piece
            if time.monotonic() > until_s:
                raise TimeoutError  # nobody waits any more
            if len(body) > LARGEST_BODY:
                break
        return _Reply(reply.status_code, reply.headers.get("Location", ""), bytes(body))


def _failure(error: Exception) -> str:
    """What broke a connection, in a few words.

    >>> _failure(requests.ConnectionError("Caused by X('[Errno 111] Connection refused')"))
    'the connection failed (Connection refused)'
    """
    if isinstance(error, requests.exceptions.SSLError):
        return "its certificate is not to be trusted"
    if isinstance(
        error, requests.exceptions.ChunkedEncodingError | requests.exceptions.ContentDecodingError
    ):
        return "its answer broke off in the middle"
    system = re.search(r"\[Errno [^\]]*\] ([\w ,]+)", str(error))
    return "the connection failed" + (f" ({system[1]})" if system else "")


def _refuse_status(asked: Question, reply: _Reply) -> NoReturn:
    """Turn down an answer that is none, with the service's own reason."""
    said = _reason(reply.body)
    came = f"HTTP {reply.status}" + (f', "{said}"' if said else "")
    if reply.location:
        to = urlsplit(reply.location).netloc or "another address"
        asked.refuse(f"{came}: it sends the question on to {to}, which is not followed")
    if reply.status == requests.codes.too_many_requests:
        asked.refuse(came, "too much was asked of it: wait some hours and try again")
    if 400 <= reply.status < 500:
        asked.refuse(came, "check the place and what is asked for")
    asked.refuse(came)


def _reason(body: bytes) -> str:
    """The reason in a service's answer, as one short printable line; empty without.

    >>> _reason(b'{"error": true, "reason": "no such\\\\nmodel"}')
    'no such model'
    """
    try:
        answer = json.loads(body)
    except (ValueError, RecursionError):
        return ""
    for key in ("reason", "messages", "message", "detail", "errors"):
        said = answer.get(key) if isinstance(answer, dict) else None
        if said:
            text = "; ".join(map(str, said)) if isinstance(said, list) else str(said)
            return one_line(text, LONGEST_REASON).replace('"', "'")
    return ""


def _no_number(word: str) -> NoReturn:
    """NaN and Infinity are no JSON."""
    raise ValueError(word)
