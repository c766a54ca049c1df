"""Which load profiles there are: the answer of `energy tools`."""

from difflib import get_close_matches
from typing import Any

from energy.plan import PlanError, profiles


def tools(word: str | None = None) -> dict[str, dict[str, Any]]:
    """Built-in tool profiles whose key, name or group holds a word, by key; without one all.

    word: what to look for; an exact key gives that profile alone.

    Raises PlanError where nothing matches, with the nearest key.

    >>> "angle-grinder-125" in tools("grind")
    True
    """
    every = profiles.tools()
    if word is None:
        return every
    sought = word.strip().casefold()
    if sought in every:
        return {sought: every[sought]}
    matching = {
        key: tool
        for key, tool in every.items()
        if any(sought in text.casefold() for text in (key, tool["name"], tool.get("group", "")))
    }
    if not matching:
        for kind, others in (("pack", profiles.packs()), ("panel", profiles.panels())):
            if sought in others:
                raise PlanError([f'"{word}" is a {kind}, not a tool: give it as profile in a plan'])
        near = get_close_matches(sought, every, n=1, cutoff=0.6)
        meant = f'; did you mean "{near[0]}"?' if near else "; `energy tools` lists them all"
        raise PlanError([f'no load profile is called "{word}"{meant}'])
    return matching
