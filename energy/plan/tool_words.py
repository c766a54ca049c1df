"""Which tool profiles a person's word calls: a whole one, or a family to choose from."""

import re
from collections.abc import Collection, Mapping
from typing import Any

from energy.plan.words import meant, shown

# Of a family, which people mostly have (common practice, no source).
USUAL = (
    "angle-grinder-125",
    "angle-grinder-115",
    "circular-saw-190",
    "jigsaw",
    "mitre-saw-210",
    "drill-10",
    "drill-13",
    "hammer-drill-13",
    "random-orbit-sander",
    "led-work-light",
    "fridge-12v",
    "tool-pack-18v-4ah",
    "tool-pack-18v-5ah",
    "kettle-small",
    "laptop-usb",
    "vacuum",
    "soldering-iron",
    "welder-inverter-100a",
)
SHORTEST = 3  # letters of a word that may be the end of another
MOST_NAMED = 9


def called(word: str, profiles: Mapping[str, Mapping[str, Any]]) -> list[str]:
    """The profiles that a word calls: the one whose key or name it is, else all of its family, the
    most usual first.

    profiles: tool profiles by key.

    >>> from energy.plan.profiles import tools
    >>> called("die grinder", tools()), called("angle grinder", tools())[:2]
    (['die-grinder'], ['angle-grinder-125', 'angle-grinder-115'])
    """
    words = _words(word)
    if not words:
        return []
    names = {key: (_words(key), _words(_name(profile))) for key, profile in profiles.items()}
    for k in (0, 1):
        if same := [key for key, both in names.items() if both[k] == words]:
            return same[:1]
    family = [
        key
        for key, (in_key, in_name) in names.items()
        if all(_is_among(part, {*in_key, *in_name}) for part in words)
    ]
    return sorted(family, key=lambda key: USUAL.index(key) if key in USUAL else len(USUAL))


def which(
    word: str, profiles: Mapping[str, Mapping[str, Any]], others: Collection[str] = ()
) -> str:
    """What to say of a word that is no profile: the family it calls, or what was probably meant.

    others: what may have been meant beside the profiles.
    """
    family = called(word, profiles)
    if len(family) > 1:
        return _question(word, family, profiles)
    if family:
        return f'there is no tool profile {shown(word)}; did you mean "{family[0]}"?'
    nearest = meant(word, [*profiles, *others])
    families = {part for key in profiles for part in _words(key) if not part.isdigit()}
    slip = meant(word, families).partition('"')[2].partition('"')[0]
    if slip and len(_words(word)) == 1 and len(several := called(slip, profiles)) > 1:
        return _question(word, several, profiles)
    return f"there is no tool profile {shown(word)}{nearest}"


def watts(profile: Mapping[str, Any]) -> float | None:
    """What a tool draws while it works or begins to charge [W]; None where it is not stated."""
    stated = (profile.get(key) for key in ("working_w", "on_w", "power_w"))
    return next((w for w in stated if isinstance(w, int | float)), None)


def _question(word: str, family: list[str], profiles: Mapping[str, Mapping[str, Any]]) -> str:
    named = []
    for key in family[:MOST_NAMED]:
        draws_w = watts(profiles[key])
        named.append(key if draws_w is None else f"{key} ({draws_w:g} W)")
    more = f" or one of {len(family) - MOST_NAMED} more" if len(family) > MOST_NAMED else ""
    return f"{shown(word)} may be {', '.join(named)}{more}: name one"


def _words(text: str) -> list[str]:
    return re.findall(r"[^\W_]+", text.casefold())


def _name(profile: Mapping[str, Any]) -> str:
    name = profile.get("name")
    return name if isinstance(name, str) else ""


def _is_among(word: str, words: set[str]) -> bool:
    """Whether a word is one of some, their plural, or the end of one."""
    for form in {word, word.removesuffix("s")}:
        if form in words or (len(form) >= SHORTEST and any(w.endswith(form) for w in words)):
            return True
    return False
