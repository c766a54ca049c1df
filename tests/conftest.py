"""What holds in every test."""

import gc
import os
import zlib
from collections.abc import Callable
from contextlib import nullcontext
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from energy.cli import clock

LONG = 9000  # moments, more than a year of hours: what is asked of longer spans is not kept
KEPT = 500
MANY_PLACES = 2**26  # bytes of the file of turbidities that are kept


def pytest_collection_modifyitems(config, items):
    """With ENERGY_ORACLES=4, one in four of the oracles: which, ENERGY_FUZZ_SEED says."""
    of = int(os.environ.get("ENERGY_ORACLES", "1"))
    seed = os.environ.get("ENERGY_FUZZ_SEED", "0")
    other = [
        item
        for item in items
        if item.get_closest_marker("oracle")
        and zlib.crc32(f"{seed} {item.nodeid}".encode()) % of != 0
    ]
    config.hook.pytest_deselected(items=other)
    kept = set(items) - set(other)
    items[:] = [item for item in items if item in kept]


def pytest_collection_finish():
    """What stays to the end is not looked through again whenever memory is tidied."""
    gc.freeze()


@pytest.fixture(autouse=True)
def before_every_plan(monkeypatch):
    """The commands' clock stands still, before the days of the plans in the tests."""
    monkeypatch.setattr(clock, "now", lambda: datetime(2026, 1, 1, tzinfo=UTC))


@pytest.fixture(scope="session", autouse=True)
def worked_out_once():
    """The sun over the same hours of the same place, typical years, the width of words in pictures
    and the table of commands; the file of turbidities is opened once."""
    import h5py
    import pvlib
    import typer.testing
    from matplotlib.backends.backend_agg import RendererAgg

    from energy.weather import source

    file = Path(pvlib.__file__).parent / "data" / "LinkeTurbidities.h5"
    with (
        pytest.MonkeyPatch.context() as patch,
        h5py.File(file, rdcc_nbytes=MANY_PLACES) as turbidities,
    ):
        spa = pvlib.solarposition.spa_python
        patch.setattr(pvlib.solarposition, "spa_python", at_the_same_times(spa))
        once = SimpleNamespace(File=lambda *_: nullcontext(turbidities))
        patch.setattr(pvlib.clearsky, "h5py", once)
        patch.setattr(source, "read_record", typical_years_once(source.read_record))
        measure = RendererAgg.get_text_width_height_descent
        patch.setattr(RendererAgg, "get_text_width_height_descent", words_once(measure))
        patch.setattr(typer.testing, "_get_command", cache(typer.main.get_command))
        yield


def at_the_same_times(ask: Callable[..., Any]) -> Callable[..., Any]:
    """A function of pvlib's that keeps what it said of a place at the same times."""
    said: dict[Any, Any] = {}

    def answer(times, *place, **where):
        if len(times) > LONG:
            return ask(times, *place, **where)
        key = (times.asi8.tobytes(), place, tuple(where.items()))
        if key not in said:
            if len(said) == KEPT:
                said.clear()
            said[key] = ask(times, *place, **where)
        return said[key].copy()

    return answer


def typical_years_once(read: Callable[..., Any]) -> Callable[..., Any]:
    """The reader of weather files that reads each of the typical years at hand once."""
    once = cache(read)
    return lambda file, **how: (once if file.startswith("builtin:") else read)(file, **how)


def words_once(measure: Callable[..., Any]) -> Callable[..., Any]:
    """The measure of a text in a picture that measures each text in a font once."""
    sizes: dict[Any, Any] = {}

    def size(renderer, text, font, ismath):
        key = (text, hash(font), ismath, renderer.dpi)
        if key not in sizes:
            sizes[key] = measure(renderer, text, font, ismath)
        return sizes[key]

    return size
