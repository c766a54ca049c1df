"""The kinds of change that can turn a no into a yes, in the order of what they cost a person on
site: switch off, move, keep warm, prop up, leave out, charge elsewhere, start fuller, buy.

Each is made in `tasks`, `leaving`, `overloaded` or `kit`; which size is enough is found in `fix`,
which two are enough together in `pair`.
"""

from contextlib import suppress
from functools import partial

from energy.answers.choose.judge import OutOfWork
from energy.answers.fix import kit, leaving, overloaded, tasks
from energy.answers.fix.ladder import Change, Ladder
from energy.answers.fix.trials import Trials

KINDS = {
    "inverter-off-between-tasks": "switching the inverter off between tasks",
    "move-flexible": "moving flexible tasks nearer noon",
    "another-time": "doing at another time what does not run beside the rest",
    "warmer-pack": "keeping the pack out of the frost",
    "better-pose": "standing the panels the best way",
    "re-aim": "turning the panels at the sun up to three times a day",
    "leave-out": "leaving out all that need not run",
    "charge-past-the-inverter": "charging past the inverter",
    "another-source": f"up to {kit.SOURCE_MOST_MIN // 60} hours of {kit.SOURCE_W:.0f} W from"
    " elsewhere",
    "fuller-start": "starting full",
    "softer-start": "a tool with a softer start",
    "cordless": "a cordless tool",
    "stronger-inverter": "a stronger inverter",
    "stronger-pack": "a stronger inverter and pack together",
    "more-panel": f"up to {kit.MOST_PANEL_W:.0f} W more panel, as far as the solar input bears it",
    "more-pack": f"up to {kit.MOST_PACK:.0f} times the pack",
}
# What is open to whoever has set out and buys nothing: where none of it is enough alone, two of it
# may be.
ON_SITE = tuple(KINDS)[: tuple(KINDS).index("fuller-start")]


def ladders(trials: Trials) -> list[Ladder]:
    """The kinds of change that this plan allows, easiest first; what is bought for a day to come
    alone, not in the middle of one.

    >>> from energy.simulation.budget import budget
    >>> from energy.plan import Plan
    >>> demo = budget(Plan.read("builtin:cloudy-repair"))
    >>> [kind.kind for kind in ladders(Trials(demo))][:2]
    ['inverter-off-between-tasks', 'move-flexible']
    """

    def is_enough(change: Change) -> bool:
        with suppress(OutOfWork):
            seen = trials.roughly(change)
            return seen is not None and seen.yes
        return False

    on_site = (
        kit.inverter_off,
        tasks.nearer_noon,
        overloaded.another_time,
        kit.warmer_pack,
        partial(kit.better_pose, is_enough=is_enough),
        kit.re_aim,
        leaving.leave_out,
        tasks.past_the_inverter,
        partial(kit.another_source, is_enough=is_enough),
    )
    beforehand = (
        kit.fuller_start,
        overloaded.softer_start,
        overloaded.cordless,
        overloaded.stronger_inverter,
        partial(overloaded.stronger_pack, is_enough=is_enough),
        kit.more_panel,
        kit.more_pack,
    )
    kinds = on_site if trials.result.now is not None else (*on_site, *beforehand)
    return [ladder for kind in kinds if (ladder := kind(trials.result)) is not None]
