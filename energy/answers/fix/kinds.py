"""The kinds of change that can turn a no into a yes, easiest first.

Each is made in `tasks`, `leaving` or `kit`; which size is enough is found in `fix`. A fuller
start comes last: whoever is on site has started.
"""

from energy.answers.fix import kit, leaving, tasks
from energy.answers.fix.ladder import Ladder
from energy.simulation.budget import Budget

KINDS = {
    "inverter-off-between-tasks": "switching the inverter off between tasks",
    "move-flexible": "moving flexible tasks nearer noon",
    "better-pose": "standing the panels the best way",
    "re-aim": "turning the panels at the sun up to three times a day",
    "leave-out": "leaving out all that need not run",
    "charge-past-the-inverter": "charging past the inverter",
    "another-source": f"up to {kit.SOURCE_MOST_MIN // 60} hours of {kit.SOURCE_W:.0f} W from"
    " elsewhere",
    "stronger-inverter": "a stronger inverter",
    "more-panel": f"up to {kit.MOST_PANEL_W:.0f} W more panel",
    "more-pack": f"up to {kit.MOST_PACK:.0f} times the pack",
    "fuller-start": "starting full",
}


def ladders(result: Budget) -> list[Ladder]:
    """The kinds of change that this plan allows, easiest first.

    >>> from energy.simulation.budget import budget
    >>> from energy.plan import Plan
    >>> [kind.kind for kind in ladders(budget(Plan.read("builtin:cloudy-repair")))][:2]
    ['inverter-off-between-tasks', 'move-flexible']
    """
    kinds = (
        kit.inverter_off,
        tasks.nearer_noon,
        kit.better_pose,
        kit.re_aim,
        leaving.leave_out,
        tasks.past_the_inverter,
        kit.another_source,
        kit.stronger_inverter,
        kit.more_panel,
        kit.more_pack,
        kit.fuller_start,
    )
    return [ladder for kind in kinds if (ladder := kind(result)) is not None]
