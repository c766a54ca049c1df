"""What there is, as tables: profiles of loads, packs and panels, and the weather held here."""

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from energy.plan import profiles
from energy.plan.tool_words import watts
from energy.show.terms import SUPPLIES
from energy.weather.fetched.cache import Cached
from energy.weather.fetched.forecast import age_in_words


def show_tools(word: str | None, matching: dict[str, dict[str, Any]], out: Console) -> None:
    """The profiles that a word calls as a table; a single one with all its figures; without a word
    load profiles, packs and panels."""
    if len(matching) == 1:
        ((key, profile),) = matching.items()
        out.print(_figures(key, profile))
        return
    kinds = {"packs": pack_table, "panels": panel_table}
    for kind, table in kinds.items():
        if matching.keys() <= profiles.built_in(kind).keys():
            out.print(table(matching))
            return
    out.print(load_table(matching, by_group=word is None))
    if word is None:
        for kind, table in kinds.items():
            out.print(table(profiles.built_in(kind)))
        out.print("energy tools NAME shows all figures of one.")
        return
    out.print(f"Which one? energy tools {next(iter(matching))} shows all its figures.")


def _figures(key: str, profile: Mapping[str, Any]) -> Table:
    """All figures of a profile, those of its outlets too."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, title=key, title_justify="left")
    table.add_column("key")
    table.add_column("value", overflow="fold")
    for name, value in profile.items():
        inside = value.items() if isinstance(value, dict) else ()
        for inner, figure in inside:
            table.add_row(f"{name}.{inner}", str(figure))
        if not inside:
            table.add_row(name, str(value))
    return table


def load_table(loads: Mapping[str, Mapping[str, Any]], *, by_group: bool) -> Table:
    """Load profiles with their watts, in their order or sorted by group."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in ("profile", "what", "group", "outlet"):
        table.add_column(heading, overflow="fold")
    for heading in ("W", "starts, W"):
        table.add_column(heading, justify="right")
    several = list(loads.items())
    if by_group:
        several.sort(key=lambda item: (item[1].get("group", ""), item[0]))
    for key, tool in several:
        table.add_row(
            key,
            tool.get("name", ""),
            tool.get("group", ""),
            SUPPLIES.get(tool.get("supply", ""), ""),
            _number(watts(tool)),
            _number(tool.get("start_w")),
        )
    return table


def pack_table(packs: Mapping[str, Mapping[str, Any]]) -> Table:
    """Packs with their limits: what the inverter gives and starts, what the solar input takes."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("pack", no_wrap=True)
    table.add_column("cells")
    for heading in ("Wh", "mains W", "surge W", "sun W", "sun V", "sun A", "kg"):
        table.add_column(heading, justify="right")
    for key, pack in packs.items():
        inverter, sun = pack.get("inverter", {}), pack.get("solar_input", {})
        label_wh = pack.get("capacity_wh") or pack["capacity_ah"] * pack["nominal_v"]
        limits = (inverter.get("rated_w"), inverter.get("surge_w"))
        limits += tuple(sun.get(f"max_{unit}") for unit in "wva")
        figures = (label_wh, *limits, pack.get("kg"))
        table.add_row(key, pack.get("chemistry", "lfp"), *map(_number, figures))
    return table


def panel_table(panels: Mapping[str, Mapping[str, Any]]) -> Table:
    """Panels with what a solar input must bear: volts open, amps short-circuited."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("panel", no_wrap=True)
    table.add_column("what", overflow="fold")
    for heading in ("W", "V open", "V work", "A short", "kg"):
        table.add_column(heading, justify="right")
    for key, panel in panels.items():
        keys = ("rated_w", "v_oc", "v_mp", "i_sc", "kg")
        table.add_row(key, panel.get("name", ""), *(_number(panel.get(k)) for k in keys))
    return table


def _number(figure: float | None) -> str:
    return "" if figure is None else f"{figure:g}"


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
