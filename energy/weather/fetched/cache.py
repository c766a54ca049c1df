"""The cache of weather fetched from the network: what, for which place, since when.

One file a place and kind. It is written beside its place and then moved in, so that a failure
leaves the file that was there. Nothing is fetched here; that is for `online`.
"""

from __future__ import annotations

import json
import os
import re
import tempfile
import time
from contextlib import suppress
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from energy.plan import PlanError
from energy.plan.words import visible
from energy.weather.record import HOUR_S, Floats, Record, ground_km

DISTRIBUTION = "offgrid-workshop-energy"
NEAR_KM = 25.0  # the services' own cells are of this size or larger
LEFT_OVER_S = 3600.0  # no write takes so long: a part older than this is of a run that was killed


class NotCached(PlanError):
    """Weather that a plan asks for and that was never fetched; its lines say how to."""

    status = 3


@dataclass(frozen=True)
class Forecast:
    """The coming days at one place, hour by hour, in several runs (members) of one model.

    start_s [UTC s] says when each hour begins, (n,). ghi [W/m2] is the hour's mean on the flat,
    temp_air [deg C] and wind_speed [m/s at 10 m] are for its middle, all (n, m); NaN from where a
    member has ended. Column 0 is the control run.
    """

    source: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    fetched_s: float
    start_s: Floats
    ghi: Floats
    temp_air: Floats
    wind_speed: Floats

    def first(self, members: int) -> Forecast:
        """The forecast with its first members alone."""
        ghi, temp_air, wind = (v[:, :members] for v in (self.ghi, self.temp_air, self.wind_speed))
        return replace(self, ghi=ghi, temp_air=temp_air, wind_speed=wind)


@dataclass(frozen=True)
class About:
    """Where fetched weather is from: the service and its address, the place asked for (degrees),
    the place's elevation in the answer [m], when [UTC s], the model or years, and the licence.
    """

    service: str
    address: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    fetched_s: float
    detail: str
    licence: str


@dataclass(frozen=True)
class Cached:
    """One file of the cache: kind (history or forecast), the place asked for, when it was fetched,
    and the begin and end of what it holds [UTC s].

    `problem` is the line that says why a file cannot be read: then source and licence are empty,
    first_s and last_s NaN, and fetched_s is when the file was written.
    """

    kind: str
    latitude_deg: float
    longitude_deg: float
    fetched_s: float
    source: str
    first_s: float
    last_s: float
    path: Path
    licence: str = ""
    problem: str | None = None


def cache_folder(folder: Path | None = None) -> Path:
    """The folder of the cache, unless `folder` says otherwise."""
    import platformdirs

    return folder or platformdirs.user_cache_path(DISTRIBUTION, appauthor=False)


def cached(folder: Path | None = None) -> list[Cached]:
    """The files of the cache, by kind and place; one that cannot be read bears its problem.

    >>> cached(Path("no-such-folder"))
    []
    """
    return [_cached(path) for path in _files(folder)]


def save_history(record: Record, about: About, folder: Path | None = None) -> Cached:
    """Put measured years of a place into the cache, in the stead of those there before.

    Raises OSError where that cannot be written; the cache is then as it was.
    """
    return _save("history", record, about, folder)


def save_forecast(forecast: Forecast, about: About, folder: Path | None = None) -> Cached:
    """Put a forecast of a place into the cache, as `save_history` does."""
    return _save("forecast", forecast, about, folder)


def history_near(
    latitude_deg: float, longitude_deg: float, folder: Path | None = None
) -> Record | None:
    """The nearest cached history within 25 km, the latest of those as near to 1 km; None without.

    Raises PlanError with one line where its file cannot be read.

    >>> history_near(50.0, 10.0, Path("no-such-folder")) is None
    True
    """
    path = file_near("history", latitude_deg, longitude_deg, folder)
    weather = None if path is None else _read(path)[1]
    assert weather is None or isinstance(weather, Record)
    return weather


def forecast_near(
    latitude_deg: float, longitude_deg: float, folder: Path | None = None
) -> Forecast | None:
    """The nearest cached forecast within 25 km; picked and refused as a history.

    >>> forecast_near(50.0, 10.0, Path("no-such-folder")) is None
    True
    """
    path = file_near("forecast", latitude_deg, longitude_deg, folder)
    weather = None if path is None else _read(path)[1]
    assert weather is None or isinstance(weather, Forecast)
    return weather


def file_near(
    kind: str, latitude_deg: float, longitude_deg: float, folder: Path | None = None
) -> Path | None:
    """The file that `history_near` or `forecast_near` reads, by its kind.

    >>> file_near("history", 50.0, 10.0, Path("no-such-folder")) is None
    True
    """
    near: list[tuple[int, float, Path]] = []
    for path in _files(folder):
        of_kind, *place = _kind_and_place(path)
        away_km = float(ground_km(latitude_deg, longitude_deg, *place))
        if of_kind == kind and away_km <= NEAR_KM:
            near.append((round(away_km), -path.lstat().st_mtime, path))
    return min(near)[2] if near else None


# --- files and their places ---------------------------------------------------------------------

_NAME = re.compile(r"(history|forecast)_([+-]\d{2}\.\d{3})_([+-]\d{3}\.\d{3})\.npz")


def _file_name(kind: str, latitude_deg: float, longitude_deg: float) -> str:
    """The name that says of which kind and for where a file is, to about 100 m.

    >>> _file_name("history", 50.0, -0.00001)
    'history_+50.000_+000.000.npz'
    """
    latitude, longitude = (round(angle, 3) + 0.0 for angle in (latitude_deg, longitude_deg))
    return f"{kind}_{latitude:+07.3f}_{longitude:+08.3f}.npz"


def _kind_and_place(path: Path) -> tuple[str, float, float]:
    name = _NAME.fullmatch(path.name)
    assert name is not None
    return name[1], float(name[2]), float(name[3])


def _files(folder: Path | None) -> list[Path]:
    """The files that hold weather; any other in the folder is none of ours.

    Raises NotCached where the folder is there and cannot be read.
    """
    inside = cache_folder(folder)
    try:
        names = os.listdir(inside)
    except FileNotFoundError:
        return []
    except OSError as error:
        line = f"{inside}: held weather cannot be read: {error.strerror}"
        raise NotCached([line]) from None
    return sorted(inside / name for name in names if _NAME.fullmatch(name))


# --- writing ------------------------------------------------------------------------------------


def _save(kind: str, weather: Record | Forecast, about: About, folder: Path | None) -> Cached:
    parts = {field.name: getattr(weather, field.name) for field in fields(weather)}
    arrays: dict[str, Any] = {n: part for n, part in parts.items() if isinstance(part, np.ndarray)}
    plain = {name: part for name, part in parts.items() if name not in arrays}
    text = json.dumps({"about": asdict(about), "weather": plain}, ensure_ascii=False)
    inside = cache_folder(folder)
    inside.mkdir(parents=True, exist_ok=True)
    _sweep(inside)
    path = inside / _file_name(kind, about.latitude_deg, about.longitude_deg)
    handle, name = tempfile.mkstemp(prefix=f".{path.stem}-", suffix=".part", dir=inside)
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            np.savez_compressed(file, about=np.array(text), **arrays)
            file.flush()
            os.fsync(file.fileno())  # else a power cut could leave the new name without content
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return _cached(path)


def _sweep(folder: Path) -> None:
    """Remove what runs that were killed in the middle of writing have left."""
    for part in folder.glob(".*.part"):
        with suppress(FileNotFoundError):  # another run has moved or removed it meanwhile
            if part.lstat().st_mtime < time.time() - LEFT_OVER_S:
                part.unlink()


# --- reading ------------------------------------------------------------------------------------


def _read(path: Path) -> tuple[About, Record | Forecast]:
    """What a file holds; PlanError with one line for one that is broken."""
    try:
        with np.load(path, allow_pickle=False) as file:
            content = json.loads(str(file["about"]))
            arrays = {name: file[name] for name in file.files if name != "about"}
        about, plain = About(**content["about"]), content["weather"]
        weather: Record | Forecast
        if _kind_and_place(path)[0] == "history":
            weather = Record(**plain | {"notes": tuple(plain["notes"])}, **arrays)
        else:
            weather = Forecast(**plain, **arrays)
        _check(weather, arrays)
        return about, weather
    except Exception as error:  # a damaged archive makes its readers raise almost anything
        raise NotCached(
            [f"{path}: can no longer be read; fetch the weather of this place anew"]
        ) from error


def _check(weather: Record | Forecast, arrays: dict[str, Any]) -> None:
    """That the arrays are of hours on an even clock, as they were when written."""
    shape = weather.ghi.shape
    if weather.ghi.ndim != (1 if isinstance(weather, Record) else 2) or 0 in shape:
        raise ValueError(f"light in the shape {shape}")
    for name, values in arrays.items():
        fitting = shape[:1] if name == "start_s" else shape
        if values.dtype != np.float64 or values.shape != fitting:
            raise ValueError(f"{name} does not fit the light")
    if not (np.diff(weather.start_s) == HOUR_S).all():
        raise ValueError("its hours are not even")


def _cached(path: Path) -> Cached:
    kind, latitude_deg, longitude_deg = _kind_and_place(path)
    try:
        about, weather = _read(path)
    except PlanError as error:
        written_s = path.lstat().st_mtime
        nan = float("nan")
        return Cached(
            kind, latitude_deg, longitude_deg, written_s, "", nan, nan, path, "", error.problems[0]
        )
    return Cached(
        kind=kind,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        fetched_s=about.fetched_s,
        source=visible(weather.name if isinstance(weather, Record) else weather.source),
        first_s=float(weather.start_s[0]),
        last_s=float(weather.start_s[-1]) + HOUR_S,
        path=path,
        licence=visible(about.licence),
    )
