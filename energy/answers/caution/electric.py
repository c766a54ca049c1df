"""Cautions about current: mains from an inverter, leads, cables, fuses, and panels in strings.

What a plan's runs and strings come to is `cables`' and `model.conductors`'s; here it is only
judged.
"""

from collections.abc import Callable, Sequence

from energy.answers.caution.caution import Caution, first_few, named, raised_by
from energy.answers.caution.telling import carries
from energy.model.battery import LITHIUM
from energy.model.conductors import MAINS_LEAD_AWG, MAINS_LEAD_MM2
from energy.plan.task import Task
from energy.simulation.budget import Budget
from energy.simulation.cables import Run, runs_of
from energy.simulation.strings import Arrangement, amps_fit, laid_out

# Above these DC volts touching bare metal can hurt: IEC 60364-4-41, 414.4.5, dry and else.
TOUCH_DRY_V, TOUCH_WET_V = 60.0, 30.0  # from memory
HEAVY_W = 1000.0  # a lead on its drum takes about this (common practice)
SHOCKS = ("hand_held", "sparks", "wet_work")  # what raises the danger of mains anywhere
LONG_LEAD_M = 10.0  # a lead as long comes on a drum (common practice)


def _mains(result: Budget) -> list[Task]:
    return [task for task in result.plan.task if task.supply == "ac"]


def mains_in_the_wet(result: Budget) -> Caution | None:
    """Mains tools outdoors, in the wet or afloat; those in the hand, or used with sparks or water,
    wherever they are."""
    place, tasks = result.plan.place, _mains(result)
    where = [w for w in ("outdoors", "wet", "afloat") if w in place.around]
    if not where:
        tasks = [task for task in tasks if any(carries(task, risk) for risk in SHOCKS)]
    if not tasks:
        return None
    what = "outdoors or in the wet" if where else "held by hand, or used with sparks or water"
    if "around" not in place.model_fields_set:
        what += ' (say where: around = ["outdoors", "wet"], or [] for neither)'
    return Caution(
        "mains-in-the-wet",
        f"Mains tools {what}: use a 30 mA RCD (GFCI) and keep plugs, leads and pack dry and off the"
        " ground. On an inverter without an earthed neutral an RCD may not trip: ask the inverter's"
        " maker or an electrician.",
        f"{named(tasks)} ({', '.join(['ac', *where])})",
        "30 mA residual current protection of sockets and outdoors: IEC 60364-4-41, 411.3.3",
    )  # from memory


def inverter_earth(result: Budget) -> Caution | None:
    """Mains tools on an inverter, wherever they are used."""
    tasks = _mains(result)
    if not tasks:
        return None
    return Caution(
        "inverter-earth",
        "How the inverter's neutral and earth are joined is its maker's affair: never add a link or"
        " an earth rod of your own. Plug tools straight into it, and leave feeding the wiring of a"
        " house, van or boat to an electrician.",
        f"[pack.inverter] with {named(tasks)}",
        "generating sets, inverters among them: IEC 60364-5-55, 551",  # from memory
    )


def rain(result: Budget) -> Caution | None:
    """Rain or spray on a pack and its plugs."""
    where = [w for w in ("wet", "afloat") if w in result.plan.place.around]
    if not where:
        return None
    return Caution(
        "gear-in-the-rain",
        "Few packs, plugs and tools are made for rain or spray: read their IP rating, and keep all"
        " below IPX4 under cover and off the ground, vents free.",
        f"[pack] ({', '.join(where)})",
        "protection of enclosures against water: IEC 60529",
    )


def coiled_lead(result: Budget) -> Caution | None:
    """A heavy mains load that a lead on a drum probably feeds."""
    long_runs = [cable for cable in result.plan.run if cable.length_m >= LONG_LEAD_M]
    leads = {end for cable in long_runs for end in (cable.from_, cable.to)}
    outdoors = "outdoors" in result.plan.place.around
    tasks = [
        task
        for task in _mains(result)
        if (outdoors and task.peak_w >= HEAVY_W) or f"task:{task.name}" in leads
    ]
    return raised_by(
        tasks,
        "coiled-lead",
        "A lead coiled or left on its drum cannot shed its heat, and melts or burns under load:"
        " unwind all of it before switching on.",
        "cable reels are marked with their watts coiled and unwound: IEC 61242",  # from memory
    )


def live_panel(result: Budget) -> Caution | None:
    """Any panel."""
    if not result.plan.panel:
        return None
    return Caution(
        "live-panel",
        "A panel is live whenever there is light: fold or cover it before plugging, and never pull"
        " a plug under load.",
        first_few([f'panel "{panel.name}"' for panel in result.plan.panel]),
        "connectors not to be opened under load: IEC 62852",  # from memory
    )


def _strings(result: Budget) -> list[Arrangement]:
    """The strings to expect, in the lowest air of the place."""
    return laid_out(result.plan, result.days.site.cold)


def strings_suit(result: Budget) -> bool:
    """Whether no string of the plan's panels is sure to be too much for the solar input, or too
    few volts for it."""
    strings = _strings(result)
    return amps_fit(strings) and not any(way.fits is False for way in strings)


def can_destroy(result: Budget) -> bool:
    """Whether a string is sure to give more volts than the solar input bears."""
    return any(way.bears_volts is False for way in _strings(result))


def string_shock(result: Budget) -> Caution | None:
    """A string whose volts can hurt who touches them."""
    around = result.plan.place.around
    limit_v = TOUCH_WET_V if "wet" in around or "afloat" in around else TOUCH_DRY_V
    high = [(way, way.v_oc_cold or way.v_mp) for way in _strings(result)]
    high = [(way, volts) for way, volts in high if volts > limit_v]
    if not high:
        return None
    return Caution(
        "string-can-shock",
        f"The panels can reach {max(volts for _, volts in high):.0f} V, enough to shock and to hold"
        " an arc: no bare ends, no wet hands, connectors made for it, a DC switch to part them.",
        _in_strings(high) + " (wet)" * (limit_v == TOUCH_WET_V),
        "bare parts up to 60 V DC in the dry, 30 V elsewhere: IEC 60364-4-41, 414.4.5",
    )


def cold_string(result: Budget) -> Caution | None:
    """A string that in the lowest air gives more volts than the input bears, or may do so."""
    max_v, cold = result.plan.pack.solar_input.max_v, result.days.site.cold
    high = [(way, way.sure_v) for way in _strings(result) if way.bears_volts is False]
    words, at_c = "reach", cold.sure_c
    if not high and max_v is not None:
        high = [
            (way, way.v_oc_cold)
            for way in _strings(result)
            if way.bears_volts is None and way.v_oc_cold is not None
        ]
        words, at_c = "would reach", cold.lowest_c
    if not high:
        return None
    fewer = "Put fewer in series, or take" if any(way.in_series > 1 for way, _ in high) else "Take"
    do = f"{fewer} another input." if words == "reach" else "Give the place's lowest_c."
    unknown = "" if words == "reach" else ", and nobody has said how cold it gets here"
    least = "at least " * any(way.v_oc_cold is None for way, _ in high)
    return Caution(
        "cold-string-voltage",
        f"At {at_c:.0f} degrees C the panels {words} {least}{max(volts for _, volts in high):.0f} V"
        f"{unknown}; the solar input bears {max_v:g} V and can be destroyed. {do}",
        _in_strings(high),
        "open-circuit voltage at the lowest air: NFPA 70, 690.7",
    )


def string_amps(result: Budget) -> Caution | None:
    """Strings that together can give more amps than the input takes."""
    strings, max_a = _strings(result), result.plan.pack.solar_input.max_a
    if max_a is None or amps_fit(strings):
        return None
    return Caution(
        "string-amps",
        f"The panels can short to {sum(way.i_sc for way in strings):.3g} A, and the solar input"
        f" takes {max_a:g} A: it may fail or shut down. {_fewer_amps(strings)}",
        _in_strings([(way, way.i_sc) for way in strings]),
    )


def _fewer_amps(strings: Sequence[Arrangement]) -> str:
    """What helps where strings give too many amps together."""
    unlike = len({way.panel.i_sc or way.panel.i_mp for way in strings}) > 1
    if unlike and all(amps_fit([way]) for way in strings):
        return "Give each kind of panel an input or a controller of its own, or take fewer panels."
    if any(way.in_parallel > 1 for way in strings) or (strings[1:] and not unlike):
        return "Put more in series where its volts allow, or fewer panels on it."
    return "Take another input."


def _in_strings(high: list[tuple[Arrangement, float]]) -> str:
    return first_few([f'panel "{way.panel.name}", {way.in_series} in series' for way, _ in high])


def _runs_where(result: Budget, test: Callable[[Run], bool]) -> str:
    """The runs that meet a test, by number and ends."""
    if not result.plan.run:
        return ""
    runs = enumerate(runs_of(result.plan, _strings(result)), start=1)
    return first_few(
        [f'run {k} "{run.cable.from_}" to "{run.cable.to}"' for k, run in runs if test(run)]
    )


def thin_cable(result: Budget) -> Caution | None:
    """A run that carries less than its fuse, or than its outlet may give."""
    runs = _runs_where(result, lambda run: run.too_thin)
    if not runs:
        return None
    return Caution(
        "cable-too-thin",
        "A cable carries less than its fuse or its load: it can burn before anything trips. Take a"
        " thicker one, or a smaller fuse with a smaller load.",
        runs,
        "what cables carry: IEC 60364-5-52; a fuse protects its cable: IEC 60364-4-43, 433.1",
    )  # from memory


def thin_lead(result: Budget) -> Caution | None:
    """A mains lead that carries its load, but is thinner than they are used on site."""
    runs = _runs_where(result, lambda run: run.thin_lead and not run.too_thin)
    if not runs:
        return None
    return Caution(
        "mains-lead-thin",
        f"A mains lead is thinner than the {MAINS_LEAD_MM2:g} mm2 (AWG {MAINS_LEAD_AWG}) usual on"
        " site, where leads are dragged, trodden on and caught: take a rubber lead as thick, or"
        " keep this one where nothing can hurt it.",
        runs,
    )


def long_cable(result: Budget) -> Caution | None:
    """A run on which more is lost than allowed."""
    runs = _runs_where(result, lambda run: run.drops_too_much)
    if not runs:
        return None
    return Caution(
        "cable-too-long",
        "A cable loses more volts than allowed: motors start badly, run hot and may not start."
        " Shorten it, take a thicker one, or move the pack.",
        runs,
    )


def _at_the_battery(run: Run) -> bool:
    """Whether a run begins at the pack at low voltage; mains and USB outlets limit themselves."""
    wired_by_hand = run.kind in ("dc12", "inverter", "stated")
    return run.at_pack and wired_by_hand and run.volts <= TOUCH_DRY_V


def short_circuit(result: Budget) -> Caution | None:
    """A battery with posts: lead-acid, one sold by its amp-hours, or one wired by hand."""
    pack = result.plan.pack
    runs = _runs_where(result, _at_the_battery)
    if pack.chemistry in LITHIUM and pack.capacity_ah is None and not runs:
        return None
    return Caution(
        "battery-short-circuit",
        "A spanner or a ring across a battery's posts burns in a second and can burst it: rings and"
        " watch off, insulated tools, posts covered. The fuse at the post is one for DC that breaks"
        " the battery's short-circuit current (class T for lithium).",
        runs or f"[pack] with posts ({pack.chemistry})",
    )


def battery_fuse(result: Budget) -> Caution | None:
    """A low-voltage cable from the pack."""
    runs = _runs_where(result, _at_the_battery)
    if not runs:
        return None
    return Caution(
        "fuse-near-battery",
        "What lies between battery and fuse is guarded by nothing: where the outlet has no fuse of"
        " its own, put one within some 20 cm of the battery, of the size its cable bears.",
        runs,
        "within 200 mm of the battery on boats: ISO 13297",  # from memory; it replaced ISO 10133
    )
