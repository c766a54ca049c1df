"""Which load profiles there are: the answer of `energy tools`."""

from difflib import get_close_matches
from typing import Any

from energy.plan import PlanError, profiles


def tools(word: str | None = None) -> dict[str, dict[str, Any]]:
    """Built-in tool profiles whose key, name or group holds `word`; an exact key is one alone.

    Raises PlanError where nothing matches, with the nearest key.

    >>> "angle-grinder-125" in tools("grind")
    True
    """
    known = profiles.tools()
    if word is None:
        return known
    sought = word.strip().casefold()
    if sought in known:
        return {sought: known[sought]}
    found = {
        key: tool
        for key, tool in known.items()
        if any(sought in text.casefold() for text in (key, tool["name"], tool.get("group", "")))
    }
    if not found:
        for kind, others in (("pack", profiles.packs()), ("panel", profiles.panels())):
            if sought in others:
                raise PlanError([f'"{word}" is a {kind}, not a tool: give it as profile in a plan'])
        near = get_close_matches(sought, known, n=1, cutoff=0.6)
        meant = f'; did you mean "{near[0]}"?' if near else "; `energy tools` lists them all"
        raise PlanError([f'no load profile is called "{word}"{meant}'])
    return found
