"""Which profiles there are, of loads, packs and panels: the answer of `energy tools`."""

from collections.abc import Mapping
from typing import Any

from energy.plan import PlanError, profiles
from energy.plan.tool_words import called, which

KINDS = {"pack": profiles.packs, "panel": profiles.panels}


def tools(word: str | None = None) -> dict[str, dict[str, Any]]:
    """Built-in load profiles that a word calls, by key; without one all.

    word: a whole profile's key or name, a pack's or panel's too; a family, the most usual first; a
    group; part of any of these; or pack or panel, for all of these.

    Raises PlanError where nothing matches, with the nearest key.

    >>> list(tools("grinder"))[:2], list(tools("panel"))[0]
    (['angle-grinder-125', 'angle-grinder-115'], 'folding-60')
    """
    every = profiles.tools()
    if word is None:
        return every
    if not isinstance(word, str):
        raise TypeError(f"a word is needed (got {type(word).__name__})")
    sought = word.strip().casefold()
    if kind := KINDS.get(sought.removesuffix("s")):
        return kind()
    kit = profiles.packs() | profiles.panels()
    if sought in kit:
        return {sought: kit[sought]}
    by_group = [key for key, tool in every.items() if tool.get("group", "").casefold() == sought]
    for keys in (by_group, called(word, every), _holding(sought, every), _holding(sought, kit)):
        if keys and sought:
            return {key: (every | kit)[key] for key in keys}
    raise PlanError([f"{which(word, every, kit)}; energy tools lists them all"])


def _holding(part: str, several: Mapping[str, Mapping[str, Any]]) -> list[str]:
    """Keys of the profiles whose key, name or group holds a part of a word."""
    return [
        key
        for key, profile in several.items()
        if any(part in str(profile.get(k, "")).casefold() for k in ("name", "group")) or part in key
    ]
