"""What a person asks of `energy learn`: readings, a score, what to read, or a meter's log."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from energy.answers.learn.kit_file import Kit, named_by, read_kit
from energy.plan import Plan, PlanError

APART = {
    "--trace": ("PLAN", "READINGS", "--score", "--what-to-read"),
    "--what-to-read": ("READINGS", "--score", "--write", "--plot"),
    "--score": ("--plot",),
}
OF_A_LOG = ("--tool", "--count")


def one_question(asked: Mapping[str, object]) -> None:
    """Raise PlanError where what is asked, by the names of the options and files, does not go
    together.

    >>> one_question({"PLAN": True, "READINGS": True, "--score": True})
    """
    given = {name for name, there in asked.items() if there}
    problems = [
        f"{one} does not go with {other}"
        for one, others in APART.items()
        for other in others
        if {one, other} <= given
    ]
    problems += [
        f"{one} goes with --trace only"
        for one in OF_A_LOG
        if one in given and "--trace" not in given
    ]
    if problems:
        raise PlanError(problems)


def of_a_log(
    log: Path, tool: str | None, count: int | None, kit: Path | None
) -> tuple[Any, Kit | None]:
    """What a meter's log of one tool shows, and the kit in a file with it.

    Raises PlanError for a log that cannot be read, or where nobody says what was logged.
    """
    from energy.answers.meter.trace import trace, with_trace

    if tool is None:
        raise PlanError(["--trace needs --tool, the name of what was logged"])
    found = trace(log, tool, count)
    return found, None if kit is None else with_trace(read_kit(kit), found, date.today())


def of_a_plan(
    plan: Plan,
    folder: Path,
    readings: Path | None,
    kit_file: Path | None,
    *,
    score: bool = False,
    what_to_read: bool = False,
) -> tuple[Any, Kit | None]:
    """What readings teach, how far off a prediction was, or what to read; and the kit with it.

    The kits that the plan names beside itself in `folder`, with the one in kit_file, are what was
    known before. Raises PlanError where nothing can be learned.
    """
    kit = named_by(plan, folder, kit_file)
    if what_to_read:
        from energy.answers.learn.what_to_read import what_to_read as suggest

        return suggest(plan, kit.belief), None
    if readings is None:
        raise PlanError(["needed are a plan and what was read: energy learn PLAN READINGS.csv"])
    if score:
        from energy.answers.learn.score import score as ask_score

        scored = ask_score(plan, readings, kit)
        return scored, scored.kit
    from energy.answers.learn.learn import learn

    found = learn(plan, readings, kit)
    return found, found.kit
