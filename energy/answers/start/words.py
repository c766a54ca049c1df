"""What there is, as tables: profiles of loads, packs and panels, and the weather held here."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from energy.plan import profiles
from energy.plan.tool_words import watts
from energy.show import table
from energy.show.layout import Part, Sheet, folded, listed, part
from energy.show.table import Column
from energy.show.terms import SUPPLIES
from energy.weather.fetched.cache import Cached
from energy.weather.fetched.forecast import age_in_words


def tools_sheet(
    word: str | None, matching: Mapping[str, Mapping[str, Any]], width: int, *, every: bool
) -> Sheet:
    """The profiles that a word calls; a single one with all its figures; without a word the groups
    of loads, the packs and the panels, or every profile."""
    if len(matching) == 1:
        ((key, profile),) = matching.items()
        return Sheet([part([key], "bold"), part(table.lines(_figures(profile), width))])
    kinds = {"packs": pack_columns, "panels": panel_columns}
    for kind, columns in kinds.items():
        if matching.keys() <= profiles.built_in(kind).keys():
            return Sheet([part(table.lines(columns(matching), width))])
    if word is not None:
        which = f"Which one? energy tools {next(iter(matching))} shows all its figures."
        few = _few(load_columns(matching), width, every)
        return Sheet([few, part(folded(which, width))])
    if not every:
        more = "energy tools WORD lists a group or family, energy tools --all every profile."
        groups = table.lines(_group_columns(matching), width)
        return Sheet([part([*groups, "", *folded(more, width)])])
    by_group = sorted(matching.items(), key=lambda item: (item[1].get("group", ""), item[0]))
    tables = [load_columns(dict(by_group))]
    tables += [columns(profiles.built_in(kind)) for kind, columns in kinds.items()]
    return Sheet([part([*table.lines(columns, width), ""]) for columns in tables])


def _few(columns: Sequence[Column], width: int, every: bool) -> Part:
    """The first rows of a table, as many as there is room for."""
    heading, *items = table.rows(columns, width)
    if every:
        return part(table.lines(columns, width))
    return listed(heading, items, lambda n: f"and {n} more: --all", most=22, least=1, gives=1)


def _figures(profile: Mapping[str, Any]) -> list[Column]:
    """All figures of a profile, those of its outlets too."""
    figures: dict[str, str] = {}
    for name, value in profile.items():
        if isinstance(value, dict):
            figures |= {f"{name}.{inner}": str(figure) for inner, figure in value.items()}
        else:
            figures[name] = str(value)
    return [Column("key", list(figures)), Column("value", list(figures.values()))]


def _group_columns(loads: Mapping[str, Mapping[str, Any]]) -> list[Column]:
    """The groups of loads, the packs and the panels, each with some of its names."""
    groups: dict[str, list[str]] = {}
    for key, load in loads.items():
        groups.setdefault(str(load.get("group", "own")), []).append(key)
    groups = dict(sorted(groups.items()))
    groups |= {kind[:-1]: list(profiles.built_in(kind)) for kind in ("packs", "panels")}
    return [
        Column("group", list(groups)),
        Column("", [f"{len(keys)}" for keys in groups.values()], right=True),
        Column("such as", [", ".join(keys[:3]) for keys in groups.values()]),
    ]


def load_columns(loads: Mapping[str, Mapping[str, Any]]) -> list[Column]:
    """Load profiles with their watts, in their order."""
    several = list(loads.values())
    return [
        Column("profile", list(loads)),
        Column("what", [load.get("name", "") for load in several]),
        Column("group", [load.get("group", "") for load in several], drop=1),
        Column("outlet", [SUPPLIES.get(load.get("supply", ""), "") for load in several], drop=2),
        Column("takes", [_number(watts(load), "W") for load in several], right=True),
        Column(
            "starts", [_number(load.get("start_w"), "W") for load in several], right=True, drop=3
        ),
    ]


def pack_columns(packs: Mapping[str, Mapping[str, Any]]) -> list[Column]:
    """Packs with their limits: what the inverter gives and starts, what the solar input takes."""
    several = list(packs.values())
    label_wh = [p.get("capacity_wh") or p["capacity_ah"] * p["nominal_v"] for p in several]
    inverters = [pack.get("inverter", {}) for pack in several]
    inputs = [pack.get("solar_input", {}) for pack in several]
    sun = [
        Column(
            f"sun {unit}",
            [_number(put.get(f"max_{unit.lower()}"), unit) for put in inputs],
            right=True,
            drop=drop,
        )
        for unit, drop in (("W", 0), ("V", 3), ("A", 4))
    ]
    return [
        Column("pack", list(packs)),
        Column("cells", [pack.get("chemistry", "lfp") for pack in several], drop=2),
        Column("holds", [_number(wh, "Wh") for wh in label_wh], right=True),
        Column("mains", [_number(inv.get("rated_w"), "W") for inv in inverters], right=True),
        Column("surge", [_number(inv.get("surge_w"), "W") for inv in inverters], right=True),
        *sun,
        Column("weighs", [_number(p.get("kg"), "kg") for p in several], right=True, drop=1),
    ]


def panel_columns(panels: Mapping[str, Mapping[str, Any]]) -> list[Column]:
    """Panels with what a solar input must bear: volts open, amps short-circuited."""
    several = list(panels.values())

    def figures(heading: str, key: str, unit: str, drop: int = 0) -> Column:
        return Column(heading, [_number(p.get(key), unit) for p in several], True, drop)

    return [
        Column("panel", list(panels)),
        Column("what", [panel.get("name", "") for panel in several], drop=2),
        figures("gives", "rated_w", "W"),
        figures("open", "v_oc", "V"),
        figures("at work", "v_mp", "V", 3),
        figures("short", "i_sc", "A"),
        figures("weighs", "kg", "kg", 1),
    ]


def _number(figure: float | None, unit: str) -> str:
    return "" if figure is None else f"{figure:g} {unit}"


def cached_sheet(cached: Sequence[Cached], width: int) -> Sheet:
    """What weather lies on this machine: of which place, from when to when, since when."""
    if not cached:
        none = (
            "No weather is held. energy weather PLAN --history or --forecast fetches it, where"
            " there is a network."
        )
        return Sheet([part(folded(none, width))])
    columns = [
        Column("kind", [weather.kind for weather in cached]),
        Column("place", [f"{w.latitude_deg:.3f}, {w.longitude_deg:.3f}" for w in cached]),
        Column("days", [_days(weather) for weather in cached]),
        Column("fetched", [age_in_words(weather.fetched_s) for weather in cached]),
        Column("from", [w.problem or f"{w.source}; {w.licence}" for w in cached]),
    ]
    return Sheet([part(table.lines(columns, width))])


def _days(weather: Cached) -> str:
    if weather.problem is not None:
        return "cannot be read"
    ends = (datetime.fromtimestamp(t, UTC) for t in (weather.first_s, weather.last_s - 1.0))
    return " to ".join(str(end.date()) for end in ends)
