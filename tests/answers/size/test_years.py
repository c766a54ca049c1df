"""A shed that stays: whole years day by day, the worst spell, days of storage at three places."""

from __future__ import annotations

import warnings
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from plan_files import problems
from size_plans import CASES, CUTS, LAMP, PUMP, small

from energy.answers.size.load_and_sun import net_w
from energy.answers.size.size import Size
from energy.answers.size.through import through_years
from energy.answers.size.words import summary
from energy.answers.size.worksheet import storage_days
from energy.answers.size.year_size import _cuts, _search, year_size
from energy.answers.size.year_weather import ready_year, year_plan, year_weather
from energy.answers.size.years import Years, years
from energy.model import Array, Index
from energy.model.simulate import simulate
from energy.plan import Plan
from energy.simulation.budget import budget
from energy.simulation.success import lowest_point
from energy.weather.source import record_of

# A steady load and a pack without losses of its own: what the published fits are about. Invented.
LOAD_W = 20.0
STEADY: dict[str, Any] = {
    "span": {"start": "2026-01-12T00:00:00", "end": "2026-01-13T00:00:00"},
    "panel": [{"rated_w": 100, "condition_percent": 100}],
    "pack": {
        "capacity_wh": 1000,
        "reserve_percent": 0,
        "idle_w": 0,
        "temperature": 25,
        "resistive_h": 0,
        "coulombic_percent": 100,
        "taper_from_percent": 98,
        "self_discharge_percent_month": 0,
        "charge_max_w": 2000,
        "dc12": {"efficiency_percent": 100},
        "solar_input": {"efficiency_percent": 100},
    },
    "task": [{"name": "load", "supply": "dc12", "working_w": LOAD_W, "spread_percent": 0}],
}
PLACES = {  # file: latitude, longitude, zone, tilt near the latitude
    "sand-point": (55.32, -160.52, "America/Anchorage", 55),
    "greensboro": (36.1, -79.95, "America/New_York", 36),
    "miami": (25.8, -80.3, "America/New_York", 26),
}


def steady(site: str) -> Plan:
    latitude, longitude, zone, tilt = PLACES[site]
    place = {"latitude_deg": latitude, "longitude_deg": longitude, "timezone": zone}
    panel = [{**STEADY["panel"][0], "tilt_deg": tilt}]
    weather = {"kind": "file", "file": f"builtin:{site}"}
    return Plan.from_dict({**STEADY, "place": place, "panel": panel, "weather": weather})


def storage(site: str) -> tuple[float, float, float]:
    """Sun hours of the design month, and days of load stored to serve 95 and 99 % of the load of
    the year, with an array that just makes the load in that month."""
    plan = year_plan(steady(site))
    of, midnights = ready_year(plan, record_of(plan), 1)
    case = of.cases[0]
    sun_wh = net_w(case)[0][:, 0] * np.diff(case.edges) / 3600.0
    day = np.searchsorted(midnights, case.edges[:-1], side="right") - 1
    daily_wh = np.bincount(day, sun_wh)
    month = (np.datetime64("2026-07-01") + np.arange(365)).astype("datetime64[M]").astype(int) % 12
    darkest_wh = min(daily_wh[month == k].mean() for k in range(12))
    watts = 100.0 * 24.0 * LOAD_W / darkest_wh
    days = np.arange(0.6, 12.01, 0.3)
    served = (
        100.0 - years(steady(site), np.full(days.size, watts), days * 24.0 * LOAD_W).lost_percent
    )
    enough = [float(days[np.argmax(served >= goal)]) for goal in (95.0, 99.0)]
    return darkest_wh / 100.0, enough[0], enough[1]


@pytest.mark.oracle
def test_days_of_storage_rise_with_the_goal_and_fall_with_the_winter_sun(
    capsys: pytest.CaptureFixture[str],
) -> None:
    found = {site: storage(site) for site in PLACES}
    with capsys.disabled():
        print("\ndays of storage, one typical year (published fit to long records):")
        for site, (sun, usual, sure) in found.items():
            fits = [storage_days(sun, goal) for goal in (95.0, 99.0)]
            print(
                f"  {site:10} {sun:.1f} sun hours: 95 % {usual:.1f} ({fits[0]:.1f}),"
                f" 99 % {sure:.1f} ({fits[1]:.1f})"
            )
        print("  a typical year is made of middling months and holds few long dull spells")
    for sun, usual, sure in found.values():
        assert sure > usual
        assert sure < storage_days(sun, 99.0)
    # less winter sun, more days: so the published fits have it, and so do the three places
    assert found["sand-point"][0] < found["greensboro"][0] < found["miami"][0]
    assert found["sand-point"][2] > found["greensboro"][2] > found["miami"][2]


def test_day_by_day_is_the_same_as_in_one_go() -> None:
    start = small(None, {"capacity_wh": 400, "chemistry": "agm"}, task=[LAMP, PUMP])
    whole = start.replace(
        **{
            "span.start": datetime(2026, 7, 1),
            "span.end": datetime(2026, 7, 11),
            "weather.futures": 1,
        }
    )
    once = budget(whole)
    found = years(start, np.array([100.0]), np.array([400.0]))
    share = once.charge_percent[:, 0] / 100.0
    cold_unavailable = once.cold_unavailable_percent[0, 0] / 100.0
    edges = np.searchsorted(once.time_s, once.time_s[0] + 86400.0 * np.arange(11))
    lowest = [share[a : b + 1].min() - cold_unavailable for a, b in pairwise(edges)]
    assert found.lowest[:10, 0, 0] == pytest.approx(lowest, abs=1e-9)


@pytest.mark.oracle
def test_a_thin_lead_loses_more_days() -> None:
    lead = {"from": "pack", "to": "task:pump", "length_m": 12, "mm2": 1.5}
    sizes = np.array([140.0]), np.array([700.0])
    short = small(None, {"nominal_v": 12.8}, task=[LAMP, PUMP])
    without, with_it = (years(one, *sizes) for one in (short, short.replace(run=[lead])))
    assert with_it.unmet_wh.sum() > 1.02 * without.unmet_wh.sum() > 0.0


@pytest.mark.oracle
def test_no_panel_brings_nothing() -> None:
    cable = {"from": "panel", "to": "pack", "length_m": 12, "mm2": 2.5}
    plan = small(None, {"capacity_wh": 400}, task=[LAMP], run=[cable])
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        found = years(plan, np.array([0.0]), np.array([400.0]))
    assert found.lost.sum() > 360  # a lamp empties a pack without sun within days


@pytest.mark.oracle
def test_a_years_own_pack_that_cannot_start_a_tool_is_told_so() -> None:
    weak = small(None, {"capacity_wh": 300, "inverter": {"rated_w": 1500}}, task=[LAMP, CUTS])
    asked = weak.replace(size={"panel_w": [200, 200], "battery_wh": [2000, 2600]})
    found = year_size(asked)
    assert found.whole_years is not None
    own_limit = found.whole_years.own_limit
    assert own_limit is not None
    assert '"saw"' in own_limit
    assert found.as_dict()["own"]["cannot"] == own_limit
    assert "will not do" in " ".join(summary(found))


def test_what_is_for_certain_days_of_the_job_comes_back_after_it() -> None:
    span = {"start": "2026-01-12T07:00:00", "end": "2026-01-15T18:00:00"}  # four noons
    plan = year_plan(small(span=span, task=[LAMP, {**PUMP, "days": [1, 3]}]))
    assert plan.task[0].days is None
    assert plan.task[1].days is not None
    assert plan.task[1].days[:5] == (1, 3, 5, 7, 9)
    assert plan.span.start == datetime(2026, 7, 1)


def test_work_by_daylight_is_sized_for_a_year_with_a_polar_night_in_it() -> None:
    """At 68.5 N the sun stays away about midwinter, when nothing of the work is asked."""
    north = {"latitude_deg": 68.5, "longitude_deg": 27.0, "timezone": "Europe/Helsinki"}
    saw = {"name": "saw", "supply": "dc12", "working_w": 50, "minutes": 20}
    plan = Plan.from_dict(
        {
            "place": {**north, "elevation_m": 150},
            "span": {"start": "2026-06-14T08:00:00", "end": "2026-06-15T08:00:00"},
            "weather": {"kind": "clear", "temp_air_c": 5},
            "panel": [{"rated_w": 200, "tilt_deg": 60}],
            "pack": {"capacity_wh": 1000, "solar_input": {"max_w": 250}},
            "size": {"panel_w": [400, 400], "battery_wh": [4000, 4000]},
            "task": [{**saw, "between": ["sunrise", "sunset"]}],
        }
    )
    answer = year_size(plan)
    assert answer.whole_years is not None
    assert answer.pick is not None
    assert "more than the 250 W the solar input takes" in next(summary(answer))


def test_a_year_in_the_south_begins_in_january() -> None:
    place = {"latitude_deg": -43.5, "longitude_deg": 172.0, "timezone": "Pacific/Auckland"}
    assert year_plan(small({"kind": "climate"}, place=place)).span.start.month == 1


def test_a_forecast_does_not_reach_through_a_year() -> None:
    assert (
        "does not reach through a year"
        in problems(lambda: year_plan(small({"kind": "forecast"})))[0]
    )


def test_a_year_drawn_by_chance_is_run_ten_times() -> None:
    hours = [2.4, 3.1, 4.2, 5.4, 5.6, 6.2, 6.1, 5.6, 4.4, 3.6, 2.4, 2.2]
    found = years(
        small({"kind": "monthly", "sun_hours": hours}), np.array([200.0]), np.array([900.0])
    )
    assert found.lost.shape == (365, 1, 10)
    assert not found.dated


def lost_one_by_one(plan: Plan, panel_w: np.ndarray, battery_wh: np.ndarray) -> np.ndarray:
    """The percent of days lost of each design, by the simulation day after day in every year."""
    shares = []
    for piece in year_weather(plan).pieces:
        designs, case = piece.designs, piece.designs.cases[0]
        count = case.factor.shape[1]
        year = np.tile(np.arange(count), panel_w.size)
        watts, labels = np.repeat(panel_w, count), np.repeat(battery_wh, count)
        state, days = None, []
        for first, last in pairwise(piece.day_edges.tolist()):
            today = designs.scaled(case.between(first, last), watts, labels, year)
            simulated = simulate(today, state=state, books=False)
            state = simulated.end
            _, above_percent = lowest_point(today, simulated)
            low = above_percent < designs.plan.pack.reserve_percent - 1e-9
            days.append(simulated.ran_short | low)
        shares.append(np.mean(days, axis=0).reshape(panel_w.size, count))
    return np.asarray(100.0 * np.concatenate(shares, axis=1).mean(axis=1))


def edges_of(found: Size) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Of each panel and goal the smallest pack that serves and the next smaller, where there are:
    panel and pack, what share of days must be served, and whether it is."""
    frontier, least_wh, rows = found.frontier, found.least_wh or 0.0, []
    for p, watts in enumerate(frontier.panel_w.tolist()):
        for g, goal in enumerate(frontier.goals):
            step = int(frontier.smallest[p, g])
            for at, serves in ((step, True), (step - 1, False)):
                if 0 <= at < frontier.sizes_wh.size and frontier.sizes_wh[at] >= least_wh:
                    rows.append((watts, frontier.sizes_wh[at], goal, serves))
    return tuple(np.array(column) for column in zip(*rows, strict=True))  # type: ignore[return-value]


def both_sides(plan: Plan) -> None:
    """What `year_size` finds does by the simulation day after day, the next smaller does not."""
    panel_w, sizes_wh, goal, serves = edges_of(year_size(plan))
    served = 100.0 - lost_one_by_one(plan, panel_w, sizes_wh)
    assert ((served >= goal - 1e-9) == serves).all()
    assert serves.any()
    assert not serves.all()


@pytest.mark.oracle
def test_the_smallest_packs_of_a_year_do_and_the_next_smaller_do_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("energy.answers.size.year_size.PANEL_SIZES", 2)
    monkeypatch.setattr("energy.answers.size.year_size.BATTERY_SIZES", 9)
    both_sides(steady("miami").replace(size={"panel_w": [150, 350], "battery_wh": [400, 1600]}))


@pytest.mark.oracle
@pytest.mark.parametrize("chemistry", ["lfp", "agm"])
@pytest.mark.parametrize(
    "name",
    [
        "lithium in the frost of the far north",
        "a saw on an inverter",
        "few amps from the panels",
        "a long thin cable",
        "twelve sun-hour figures",
    ],
)
def test_sizes_of_a_year_are_those_of_day_after_day(name: str, chemistry: str) -> None:
    plan = CASES[name].replace(**{"pack.chemistry": chemistry})
    sizes = {"panel_w": [60, 400], "battery_wh": [300, 3000]}
    both_sides(plan.replace(size=sizes, **{"weather.futures": 1}))


DARK = date(2022, 1, 20), date(2022, 1, 27)  # eight days without sun in an invented record


def two_years(folder: Path) -> Plan:
    """A plan whose record holds July 2021 to June 2023 hour by hour, bright every day but eight."""
    hours = np.arange("2021-06-30", "2023-07-03", dtype="datetime64[h]")
    hour = (hours - hours.astype("datetime64[D]")).astype(int)
    ghi = np.maximum(0.0, 450.0 * np.sin(np.pi * (hour + 0.5 - 7.0) / 10.0))
    day = hours.astype("datetime64[D]")
    ghi[(day >= np.datetime64(DARK[0])) & (day <= np.datetime64(DARK[1]))] = 0.0
    rows = "\n".join(f"{t},{g:.1f}" for t, g in zip(hours, ghi, strict=True))
    (folder / "years.csv").write_text(f"time,ghi\n{rows}\n".replace("T", " "), encoding="utf-8")
    place = {"latitude_deg": 36.1, "longitude_deg": 0.0, "timezone": "UTC"}
    weather = {"kind": "file", "file": str(folder / "years.csv")}
    return Plan.from_dict({**STEADY, "place": place, "weather": weather})


def test_the_worst_spell_of_measured_years_has_its_dates(tmp_path: Path) -> None:
    found = years(two_years(tmp_path), np.array([400.0]), np.array([1000.0]))
    assert found.dated
    assert found.lost.shape[2] == 2  # from July 2021 and from July 2022: those that are whole
    through = through_years(found, 0)
    # 1000 Wh at 20 W last 50 hours from the dusk before: to the evening of the second dark day;
    # the first bright one is lost until its sun
    assert through.worst.first == DARK[0] + timedelta(days=1)
    assert through.worst.last == DARK[1] + timedelta(days=1)
    assert through.as_dict()["worst_spell"]["first"].startswith("2022-01-2")
    assert [m.number for m in through.months if m.lost_percent > 0.0] == [1]


def shares(lost: list[list[int]]) -> Years:
    """Invented years of so many days from 30 December on, lost or not; one design."""
    flags = np.array(lost, dtype=bool).T[:, None, :]
    first = np.datetime64("2025-12-30") + np.arange(flags.shape[0])[:, None]
    days = np.broadcast_to(first, (flags.shape[0], flags.shape[2]))
    one = np.array([100.0])
    return Years(one, one, days, True, flags, 10.0 * flags, np.where(flags, 0.1, 0.6))


def test_the_longest_spell_is_the_worst_and_months_share_their_days() -> None:
    through = through_years(shares([[0, 1, 1, 1, 0], [1, 1, 0, 0, 1]]), 0)
    assert (through.worst.first, through.worst.days) == (date(2025, 12, 31), 3)
    assert through.worst.unmet_wh == 30.0
    assert through.lost_percent == pytest.approx(60.0)
    by_month = {m.number: m.lost_percent for m in through.months if m.lost_percent}
    assert by_month == {12: pytest.approx(75.0), 1: pytest.approx(50.0)}


def test_where_nothing_is_lost_the_lowest_day_is_named() -> None:
    through = through_years(shares([[0, 0, 0]]), 0)
    assert through.worst.unmet_wh == 0.0
    assert through.as_dict()["worst_spell"]["days"] == 0


def test_cuts_lie_between_what_is_known_and_end_the_search() -> None:
    for low in range(-1, 6):
        for high in range(low + 1, 7):
            inner = _cuts(low, high, 3, 6)
            assert all(low < step < high for step in inner)
            assert bool(inner) == (high - low > 1)


def test_whatever_is_guessed_the_search_ends_where_a_size_does_and_the_next_smaller_does_not() -> (
    None
):
    rng = np.random.default_rng(5)
    goals, (panels, count) = (80.0, 90.0, 99.0), (4, 23)
    for trial in range(60):
        percent = np.sort(rng.uniform(60.0, 101.0, (panels, count)), axis=1)
        if trial % 3 == 0:  # a larger pack may lose more days
            percent += rng.normal(0.0, 3.0, percent.shape)
        asked: list[int] = []

        def served(
            panel: Index, step: Index, percent: Array = percent, asked: list[int] = asked
        ) -> Array:
            asked.append(step.size)
            return np.asarray(percent[panel, step])

        guess = rng.integers(0, count + 1, (panels, len(goals)))
        found = _search(served, panels, count, goals, guess)
        for p, g in np.ndindex(found.shape):
            size = int(found[p, g])
            assert size == count or percent[p, size] >= goals[g]
            assert size == 0 or percent[p, size - 1] < goals[g]
        if trial % 3:  # then there is one such size only
            assert found.tolist() == _search(served, panels, count, goals).tolist()
            asked.clear()
            _search(served, panels, count, goals, found)
            assert len(asked) == 1  # a right guess takes one round


def test_the_sizes_for_a_year_are_those_of_a_grid(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("energy.answers.size.year_size.PANEL_SIZES", 2)
    monkeypatch.setattr("energy.answers.size.year_size.BATTERY_SIZES", 9)
    asked = {"panel_w": [150, 350], "battery_wh": [400, 1600]}
    start = steady("miami").replace(size=asked)
    found = year_size(start)
    watts, sizes = found.frontier.panel_w, found.frontier.sizes_wh
    grid = years(start, np.repeat(watts, sizes.size), np.tile(sizes, watts.size))
    served = (100.0 - grid.lost_percent).reshape(watts.size, sizes.size)
    for k, goal in enumerate(found.frontier.goals):
        first = [int(np.argmax(row >= goal)) if (row >= goal).any() else row.size for row in served]
        assert found.frontier.smallest[:, k].tolist() == first
    assert found.pick is not None
    assert found.whole_years is not None
    assert found.whole_years.pick is not None
    assert found.whole_years.pick.lost_percent <= 10.0
