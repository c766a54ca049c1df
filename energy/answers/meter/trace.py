"""What does a meter's log say of a tool? Bursts, levels and energy, as a profile.

The log is read in `log`. What its interval cannot show is said, and kept from the profile.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from energy.answers.learn.posterior import rounded, size_of
from energy.answers.meter.bursts import LoggedBurst, find_bursts
from energy.answers.meter.levels import (
    LEVELS_TO_S,
    Levels,
    count_seen,
    cycles,
    kind_of,
    levels_of,
)
from energy.answers.meter.log import MAINS_V, Log, read_log
from energy.answers.meter.profile import LoggedWork, as_task, profile_of
from energy.plan import PlanError, profiles
from energy.plan.profiles import Table
from energy.plan.task import Task
from energy.plan.words import shown

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Picture

PLUG_METER = 0.03  # standard deviation of what a plug-in meter shows, as a share; judgement
FAR = 50.0  # times what is stated: watts read as kW are a thousand off, tools are not
FEW_W = 20.0  # below it fractions without a unit may be kW: common practice, no source
SAME_TOOL = 3.0  # times more or less than stated: beyond it is another tool; judgement
ANOTHER = "another tool's log, or give it a name of your own"


@dataclass(frozen=True)
class Traced:
    """What a log shows of a tool: its profile, its kind, the bursts with how many there were and of
    how much energy, and its levels. None where the log cannot show it."""

    tool: str
    log: Log = field(repr=False)
    kind: str
    bursts: tuple[LoggedBurst, ...] = field(repr=False)
    count: int | None
    each_wh: float | None
    total_wh: float
    standby_w: float
    levels: Levels
    profile: Table
    notes: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The answer that `--json` prints."""
        numbers = {
            "each_wh": self.each_wh,
            "total_wh": self.total_wh,
            "standby_w": self.standby_w,
            **vars(self.levels),
        }
        return {
            "tool": self.tool,
            "kind": self.kind,
            "interval_s": self.log.interval_s,
            "count": self.count,
            **{
                key: None if value is None else rounded(float(value))
                for key, value in numbers.items()
            },
            "profile": self.profile,
            "notes": list(self.notes),
        }

    def plot(self) -> "Picture":
        """The log with what was found in it: a matplotlib figure."""
        from energy.answers.meter.picture import traced

        return traced(self)


def trace(log: Log | Path | str, tool: str, count: int | None = None) -> Traced:
    """A tool's profile from a meter's log.

    log: the log, or the path of a CSV file of it.
    tool: the name of the tool; a built-in profile of that name gives what no log shows: outlet,
        start, cautions.
    count: how many bursts there were; None counts those that are seen.

    Raises PlanError in one line.

    >>> from energy.answers.meter.log import parse_log
    >>> rows = [(t, 800 if 20 <= t % 60 < 40 else 1) for t in range(600)]
    >>> log = parse_log("seconds,watts\\n" + "\\n".join(f"{t},{w}" for t, w in rows))
    >>> answer = trace(log, "my-saw")
    >>> answer.count, round(answer.each_wh, 2)
    (10, 4.44)
    """
    if not isinstance(log, Log):
        log = read_log(log)
    if count is not None and count < 1:
        raise PlanError([f"--count must be 1 or more (got {count})"])
    base = profiles.tools().get(tool, {})
    notes = list(log.notes)
    log = _in_watts(log, tool, base, notes)
    bursts, standby_w = find_bursts(log)
    counting, cut_off = _counting(bursts, notes)
    total_wh = sum(burst.energy_wh for burst in counting)
    kind = kind_of(log, counting, base)
    if kind == "charging" and base.get("kind", kind) != kind:
        refuse(log, f"it falls away as a charge does, and {tool} is {base['kind']}: {ANOTHER}")
    if kind != "cycling" and cycles(log, counting):
        notes.append(f"it comes on at even times, as a fridge does, and {tool} is {kind}")
    seen = count_seen(log, counting, kind)
    if count is not None and seen is not None and not cut_off and seen != count:
        notes.append(f"{seen} bursts are seen in the log, {count} were stated; the latter count")
    number = count if count is not None or cut_off else seen
    each_wh = total_wh / number if number else None
    notes += _hidden(log, total_wh, each_wh, unseen=number is None and seen is None)
    levels = Levels() if seen is None else levels_of(log, counting, kind)
    work = LoggedWork(log, kind, counting, each_wh, levels, standby_w)
    profile = profile_of(tool, work, base, notes)
    if profile and base:
        stated = as_task(tool, base)
        own = as_task(tool, profile)
        refuse_another(log, own, size_of(stated), f"those of {tool}", stated.idle_w)
    return Traced(
        tool, log, kind, tuple(bursts), number, each_wh, total_wh, standby_w, levels, profile,
        tuple(notes),
    )  # fmt: skip


def _counting(
    bursts: Sequence[LoggedBurst], notes: list[str]
) -> tuple[Sequence[LoggedBurst], bool]:
    """The bursts that count, and whether they are cut off: the whole ones, or all where those
    took less than half of what was drawn."""
    complete = [burst for burst in bursts if burst.whole]
    if sum(burst.energy_wh for burst in complete) <= 0.5 * sum(burst.energy_wh for burst in bursts):
        notes.append(
            "the log begins or ends, or has a gap, while it runs: only what was logged counts"
        )
        return bursts, True
    if len(complete) < len(bursts):
        notes.append(f"pieces of bursts that are cut off, left out: {len(bursts) - len(complete)}")
    return complete, False


def _hidden(log: Log, total_wh: float, each_wh: float | None, unseen: bool) -> list[str]:
    """A line for each thing that the log's interval or the steps of its counter hide; unseen:
    single bursts are among them."""
    lines = []
    if unseen:
        every = (
            "One value a minute" if log.interval_s == 60 else f"One value in {log.interval_s:g} s"
        )
        lines.append(
            f"{every}: the total ({total_wh:.0f} Wh) is sound, single cuts are not seen; give their"
            " number: --count 20"
        )
    if each_wh is not None and log.step_wh > PLUG_METER * each_wh:
        share = 100.0 * log.step_wh / each_wh
        lines.append(f"one step of the counter, {log.step_wh:g} Wh, is {share:.0f} % of a burst")
    if log.interval_s > LEVELS_TO_S:
        lines.append(
            f"levels, duty and pauses under {2.0 * log.interval_s:g} s need a value a second;"
            " momentary values, not means, may be a fifth off"
        )
    return lines


def _in_watts(log: Log, tool: str, base: Table, notes: list[str]) -> Log:
    """The log with volts times amps of the mains made watts.

    Raises PlanError where a heading names no unit and the log lies far off what the tool draws, or,
    of an unknown one, may as well be of kW.
    """
    stated_w = float(max(base.get(key, 0.0) for key in ("working_w", "on_w", "power_w")))
    most_w = float(log.watts.max())
    if (
        log.unnamed is not None
        and stated_w > 0.0 < most_w
        and not 1.0 / FAR < most_w / stated_w < FAR
    ):
        refuse(
            log,
            f"read as watts it is {most_w:.3g} at most, and {tool} draws {stated_w:g};"
            ' name the unit in the heading, as in "power (kW)"',
        )
    few = most_w < FEW_W and bool((log.watts % 1.0).any())
    if log.unnamed is not None and log.volts is None and stated_w == 0.0 and few:
        heading, unit = log.unnamed
        refuse(
            log,
            f"column {shown(heading)} names no unit, and as {unit} it is {most_w:.2g} W at most;"
            f' head it "{heading} (k{unit})" or "{heading} ({unit})"',
        )
    if log.volts is None or log.volts <= MAINS_V:
        return log
    factor = float(base.get("power_factor", 1.0))
    if factor < 1.0:
        notes.append(f"volts times amps are VA: watts are {factor:g} of them, as {tool} states")
    elif not base:
        notes.append("volts times amps are VA, taken for watts: motors and chargers draw fewer")
    return replace(log, watts=log.watts * factor)


def refuse(log: Log, text: str) -> NoReturn:
    """Raise PlanError with a line about a log."""
    raise PlanError([f"{log.name}: {text}"])


def refuse_another(log: Log, task: Task, stated: float, where: str, least: float = 0.0) -> None:
    """Raise PlanError where a log's mean watts, or a charge's Wh, cannot be those of the tool: they
    are less than `least`, or far from those `stated`, which `where` names."""
    size, unit = size_of(task), "Wh a charge" if task.kind == "charging" else "W on the mean"
    if stated > 0.0 and (size < least or not 1.0 / SAME_TOOL < size / stated < SAME_TOOL):
        refuse(
            log,
            f"it shows {rounded(size, 3):g} {unit}, and {where} are {rounded(stated, 3):g}:"
            f" {'a part of a charge, ' if task.kind == 'charging' else ''}{ANOTHER}",
        )
