"""A load profile of one's own: from keys given or a few questions, validated as a plan would."""

import re
from collections.abc import Mapping
from functools import partial
from typing import Any

from energy.answers.start.asking import Ask, one_of
from energy.plan import Plan, PlanError, profiles
from energy.plan.documents import parse
from energy.plan.task import RISKS
from energy.plan.words import meant, shown
from energy.show.terms import SUPPLIES

KINDS = {
    "steady": "the same watts all along",
    "intermittent": "a motor under load and running free by turns",
    "charging": "a battery",
}
YES_OR_NO = {
    "rotating": "Does it turn a blade, bit or disc?",
    "sparks": "Does it throw sparks?",
    "hand_held": "Is it held by hand?",
}
MOTOR_START = 3.0  # times its working watts (common practice, no source: 2 to 3, more for some)
NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,60}")
# Somewhere a profile can be tried: any place, day and pack will do.
BENCH = {
    "place": {"latitude_deg": 0.0, "longitude_deg": 0.0, "timezone": "UTC", "elevation_m": 0},
    "span": {"start": "2026-01-01T00:00", "end": "2026-01-02T00:00"},
    "weather": {"kind": "clear"},
    "pack": {"capacity_wh": 1000},
}


def own_tool(name: str, given: Mapping[str, str], before: str = "") -> str:
    """The text of a file of profiles with one more tool in it.

    given are the profile's keys with their values as written; before is what the file holds.
    Raises PlanError for a name that is taken or keys that make no profile.

    >>> print(own_tool("my-saw", {"supply": "ac", "working_w": "900"}))
    [my-saw]
    name = "my saw"
    supply = "ac"
    working_w = 900
    source = "your own figures"
    """
    refuse_taken(name, before)
    lines = {"name": name.replace("-", " "), **given}
    lines.setdefault("source", "your own figures")
    block = "\n".join(f"{key} = {_toml(value)}" for key, value in lines.items())
    text = f"[{name}]\n{block}\n"
    table = parse(text, "the profile")[name]
    enough = {"times": 1, "each_s": 60} if table.get("kind") == "intermittent" else {}
    _refuse_unknown(table)
    Plan.from_dict({**BENCH, "task": [table | enough]}, "the profile")
    return f"{before.rstrip()}\n\n{text}" if before.strip() else text.rstrip()


def refuse_taken(name: str, before: str) -> None:
    """Raise PlanError for what is no name, or one that the file has already."""
    if not NAME.fullmatch(name):
        raise PlanError(
            [f"a profile's name is small letters, digits and dashes (got {shown(name)})"]
        )
    kinds = profiles.sorted_into_kinds(parse(before, "the file"), "the file")
    if name in kinds["tools"]:
        raise PlanError([f'the file has a tool "{name}" already; change it there'])


def start_missing(given: Mapping[str, str]) -> bool:
    """Whether a mains tool with a motor, by its keys, says nothing of its start."""
    motor = given.get("kind") in ("intermittent", "cycling") or given.get("rotating") == "true"
    return given.get("supply") == "ac" and motor and "start_w" not in given


def asked(ask: Ask) -> dict[str, str]:
    """The keys of a profile from a few questions."""
    given = {
        "supply": ask(f"Which outlet? {_listed(SUPPLIES)}", "ac", partial(one_of, SUPPLIES)),
        "kind": ask(f"Which kind? {_listed(KINDS)}", "steady", partial(one_of, KINDS)),
    }
    if given["kind"] == "charging":
        given["energy_wh"] = ask("How many Wh does a full charge take?", "60", _number)
        given["power_w"] = ask("With how many W does it begin?", "60", _number)
        return given
    given["working_w"] = ask("How many W while it works?", "500", _number)
    if given["kind"] == "intermittent":
        given["idle_w"] = ask("How many W while it runs free?", "0", _number)
        given["duty_percent"] = ask("What percent of a burst is work?", "70", _number)
    for key, question in YES_OR_NO.items():
        yes = ask(f"{question} yes or no", "no", partial(one_of, ["yes", "no"])) == "yes"
        given[key] = "true" if yes else "false"
    if given["supply"] == "ac":
        starts = MOTOR_START if start_missing(given) else 1.0
        usual = f"{starts * float(given['working_w']):g}"
        given["start_w"] = ask("How many W when it starts?", usual, _number)
    return given


def pairs(several: list[str]) -> dict[str, str]:
    """Keys and values as given: "key=value".

    >>> pairs(["supply=ac", "working_w=900"])
    {'supply': 'ac', 'working_w': '900'}
    """
    wrong = [f"{shown(text)} is not key=value" for text in several if "=" not in text]
    if wrong:
        raise PlanError(wrong)
    return dict(text.split("=", 1) for text in several)


def _refuse_unknown(table: Mapping[str, Any]) -> None:
    keys = sorted({*RISKS, *(key for tool in profiles.tools().values() for key in tool)})
    wrong = [key for key in table if key not in keys and key not in ("trace", "off_w")]
    if wrong:
        raise PlanError([f"a profile has no {shown(key)}{meant(key, keys)}" for key in wrong])


def _listed(options: Mapping[str, str]) -> str:
    return ", ".join(f"{key} ({words})" for key, words in options.items())


def _number(answer: str) -> str:
    try:
        float(answer)
    except ValueError:
        raise PlanError([f"a number is wanted (got {shown(answer)})"]) from None
    return answer.strip()


def _toml(value: str) -> str:
    """A value as TOML: numbers, true and false as they are, anything else as text."""
    if value in ("true", "false"):
        return value
    try:
        float(value)
    except ValueError:
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return value
