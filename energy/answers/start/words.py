"""What there is, as tables: load profiles, and the weather held on this machine."""

from collections.abc import Sequence
from datetime import UTC, date, datetime
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from energy.show.terms import SUPPLIES
from energy.weather.fetched.cache import Cached
from energy.weather.fetched.forecast import age_in_words


def show_tools(tools: dict[str, dict[str, Any]], out: Console) -> None:
    """The load profiles as a table; a single one with all its figures."""
    if len(tools) == 1:
        ((key, tool),) = tools.items()
        table = Table(box=box.SIMPLE_HEAD, pad_edge=False, title=key, title_justify="left")
        table.add_column("key")
        table.add_column("value", overflow="fold")
        for name, value in tool.items():
            table.add_row(name, str(value))
        out.print(table)
        return
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in ("profile", "what", "group", "outlet"):
        table.add_column(heading, overflow="fold")
    for heading in ("W", "starts, W"):
        table.add_column(heading, justify="right")
    for key, tool in sorted(tools.items(), key=lambda item: (item[1].get("group", ""), item[0])):
        watts = tool.get("working_w") or tool.get("on_w") or tool.get("power_w")
        table.add_row(
            key,
            tool.get("name", ""),
            tool.get("group", ""),
            SUPPLIES.get(tool.get("supply", ""), ""),
            "" if watts is None else f"{watts:g}",
            "" if "start_w" not in tool else f"{tool['start_w']:g}",
        )
    out.print(table)


def show_cached(cached: Sequence[Cached], out: Console) -> None:
    """What weather lies on this machine: of which place, from when to when, since when."""
    if not cached:
        out.print(
            "No weather is held. energy weather PLAN --history or --forecast fetches it, where"
            " there is a network."
        )
        return
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in ("kind", "place", "days", "fetched", "from"):
        table.add_column(heading, overflow="fold")
    for weather in cached:
        days = "cannot be read"
        if weather.problem is None:
            days = " to ".join(str(date_of(t)) for t in (weather.first_s, weather.last_s - 1.0))
        table.add_row(
            weather.kind,
            f"{weather.latitude_deg:.3f}, {weather.longitude_deg:.3f}",
            days,
            age_in_words(weather.fetched_s),
            Text(weather.problem or f"{weather.source}; {weather.licence}"),
        )
    out.print(table)


def date_of(time_s: float) -> date:
    """The UTC date of a moment."""
    return datetime.fromtimestamp(time_s, UTC).date()
