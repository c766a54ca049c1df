"""Where to point the panels: against geometry, free searches, and the budgets with the pose."""

import re
from dataclasses import replace
from datetime import datetime
from itertools import combinations
from zoneinfo import ZoneInfo

import numpy as np
import pvlib
import pytest
from aim_plans import aim_of, one_panel
from plan_tables import CHARGER, plan
from scipy.optimize import minimize
from text_book_sun import zenith_azimuth
from told import at_a_glance, unfolded

from energy.answers.aim.aim import aim, enough_for
from energy.answers.aim.picture import aim_picture
from energy.answers.aim.poses import search
from energy.answers.aim.words import (
    advice,
    day_in_words,
    finding,
    hours_lines,
    settings,
    sheet,
)
from energy.model.timeline import to_utc
from energy.plan import Plan, PlanError
from energy.plan.write import write_changes
from energy.simulation.budget import budget, changed


def without_air(of: Plan):
    """The budget of a plan under a sun that shines as strongly all day, from a black sky."""
    result = budget(of)
    up = np.maximum(np.cos(np.radians(result.weather.light.sun.apparent_zenith)), 0.0)[:, None]
    beam = np.full_like(up, 900.0)
    return replace(
        result,
        weather=replace(
            result.weather,
            light=replace(result.weather.light, ghi=900.0 * up, dni=beam, dhi=0.0 * up),
        ),
    )


@pytest.fixture(scope="module")
def repair():
    return aim_of("cloudy-repair")


@pytest.fixture(scope="module")
def anchorage():
    return aim_of("two-night-trip")


@pytest.fixture(scope="module")
def job():
    return aim_of("january-job")


@pytest.fixture(scope="module")
def clear_day():
    return aim(one_panel())


@pytest.mark.parametrize(
    ("date", "declination"), [("2026-03-20", 0.0), ("2026-06-21", 23.45), ("2026-12-21", -23.45)]
)
def test_without_air_the_best_tilt_is_that_of_geometry(date, declination):
    # Most beam over the day at 45 N without air: 46, 2 and 73 degrees (closed form); summed here
    # over the hour angles of the text books, with what the glass lets through. The panel's poorer
    # share of dull light draws it a little towards the noon sun, hence 4 degrees.
    hours = [zenith_azimuth(declination, 45.0, angle) for angle in np.arange(-179.0, 180.0)]
    zenith, azimuth = np.array([place for place in hours if place[0] < 90.0]).T
    tilts = np.arange(0.0, 91.0)
    aoi = [pvlib.irradiance.aoi(tilt, 180.0, zenith, azimuth) for tilt in tilts]
    lit = [
        np.maximum(np.cos(np.radians(a)), 0.0) * pvlib.iam.physical(np.minimum(a, 90)) for a in aoi
    ]
    expected = tilts[int(np.argmax([one.sum() for one in lit]))]
    of = one_panel(
        day=(f"{date}T00:00", f"{date}T23:55"),
        place={"albedo": 0},
        temp_coefficient_percent_per_c=0,
    )
    found, facing = search(without_air(of)).yields().best()
    assert found == pytest.approx(expected, abs=4.0)
    assert expected < 10.0 or facing == pytest.approx(180.0, abs=3.0)


def test_around_noon_without_air_the_panel_stands_square_to_the_sun():
    # Geometry: latitude less declination, 45 - 0 at the equinox, south.
    of = one_panel(day=("2026-03-20T12:00", "2026-03-20T12:15"), place={"albedo": 0})
    tilt, facing = search(without_air(of)).yields().best()
    assert tilt == pytest.approx(45.0, abs=2.0)
    assert facing == pytest.approx(180.0, abs=4.0)


def test_off_the_sun_the_beam_falls_with_the_cosine(clear_day):
    # Closed form: cos 30 = 0.866; the glass takes 0.2 % more (pvlib.iam.physical).
    of = one_panel(
        day=("2026-03-20T12:00", "2026-03-20T12:15"),
        place={"albedo": 0},
        temp_coefficient_percent_per_c=0,
    )
    yields = search(without_air(of)).yields()
    tilt, facing = yields.best()
    answer = replace(clear_day, yields=yields, tilt_deg=tilt, azimuth_deg=facing)
    assert answer.lost_percent(30.0, 0.0) == pytest.approx(13.4, abs=1.5)


@pytest.mark.parametrize(
    ("day", "tilt"),
    [
        (("2026-06-14T00:00", "2026-06-17T00:00"), 15.0),
        (("2026-12-14T00:00", "2026-12-17T00:00"), 80.0),
    ],
)
def test_the_best_tilt_of_a_typical_june_and_december(day, tilt):
    # Computed with pvlib on the typical year at 55.3 N: light on planes facing south, 5-degree
    # grid: June 15, December 80. Here watts in weathers of the days around; facing is free.
    of = one_panel(
        55.317, day, {"kind": "file", "file": "builtin:sand-point"}, {"longitude_deg": -160.517}
    )
    assert search(budget(of)).yields().best()[0] == pytest.approx(tilt, abs=7.5)


def test_free_searches_from_random_starts_find_nothing_better(repair):
    result, luck = repair.plan.budget, np.random.default_rng(1)

    def lost(pose):
        tilt, facing = float(np.clip(pose[0], 0.0, 90.0)), float(pose[1] % 360.0)
        tried = changed(result, {"panel.1.tilt_deg": tilt, "panel.1.facing": facing})
        return -replace(repair.best, budget=tried).own_wh

    for _ in range(2):
        start = luck.uniform([0.0, 90.0], [90.0, 270.0])
        corners = start + np.array([[0.0, 0.0], [20.0, 0.0], [0.0, 40.0]])
        options = {"maxfev": 30, "initial_simplex": corners}
        found = minimize(lost, start, method="Nelder-Mead", options=options)
        assert -found.fun <= 1.001 * repair.best.own_wh


def test_all_pairs_of_turns_tried_one_by_one_find_nothing_better():
    of = one_panel(day=("2026-06-21T07:00", "2026-06-22T18:00"), out_between=["08:00", "12:00"])
    answer = aim(of)
    times = [f"{h:02d}:{m:02d}" for h in range(8, 12) for m in (0, 30)]
    pose = {"tilt_deg": answer.tilt_deg, "facing": answer.azimuth_deg, "aim": "re-aimed"}
    given = []
    for pair in combinations(times, 2):
        keys = {f"panel.1.{key}": value for key, value in pose.items()}
        tried = changed(answer.plan.budget, keys | {"panel.1.re_aim_at": list(pair)})
        given.append(replace(answer.best, budget=tried).own_wh)
    assert len(answer.re_aim[1].at) == 2
    assert answer.re_aim[1].own_wh == pytest.approx(max(given), rel=1e-3)


def test_under_a_clear_sky_each_turn_of_one_day_gives_more(clear_day):
    turns = [setting.wh_per_day for setting in clear_day.re_aim]
    ladder = [clear_day.flat.wh_per_day, clear_day.best.wh_per_day, *turns]
    ladder.append(clear_day.follow.wh_per_day)
    assert len(turns) == 3
    assert ladder == sorted(ladder)


def test_under_cloud_pointing_at_the_hidden_sun_loses():
    # An even dome gives most to what lies flat: (1 + cos tilt) / 2 (closed form).
    answer = aim(one_panel(weather={"kind": "sky", "sky": "overcast", "futures": 1}))
    assert answer.tilt_deg <= 10.0
    assert answer.follow.wh_per_day < answer.best.wh_per_day
    assert answer.worth_turning is None


def test_no_pose_of_a_demo_gives_less_than_the_plans_own(repair, anchorage, job):
    for answer in (repair, anchorage, job):
        assert answer.best.own_wh >= answer.plan.own_wh - 1e-9
        assert answer.best.own_wh >= answer.flat.own_wh - 1e-9


def test_a_pose_that_is_best_already_is_kept(repair):
    again = aim(repair.plan.budget.plan.replace(**repair.change))
    assert (again.tilt_deg, again.azimuth_deg) == (repair.tilt_deg, repair.azimuth_deg)
    assert again.more_wh(again.best) == 0.0


def test_south_of_the_equator_the_panel_faces_north():
    answer = aim(one_panel(-34.0))
    assert min(answer.azimuth_deg, 360.0 - answer.azimuth_deg) <= 3.0
    assert answer.tilt_deg > 34.0  # winter there: steeper than the latitude


def test_on_the_equator_at_the_equinox_the_panel_lies_flat():
    # Symmetry: the sun passes overhead, from due east to due west.
    answer = aim(one_panel(0.0, ("2026-03-20T00:00", "2026-03-21T00:00")))
    assert answer.tilt_deg == 0.0
    assert finding(answer).startswith("Lay the panel flat")
    assert answer.best.wh_per_day == pytest.approx(answer.flat.wh_per_day, rel=1e-9)


def test_a_hill_in_the_east_turns_the_panel_west():
    hill = {"horizon": [[0, 0], [1, 50], [179, 50], [180, 0]]}
    day = ("2026-03-20T00:00", "2026-03-20T23:00")
    _, facing = search(budget(one_panel(day=day, place=hill))).yields().best()
    assert 200.0 < facing < 270.0


def test_shade_in_the_afternoon_turns_the_panel_east():
    shade = [{"between": ["12:00", "21:00"], "keep_percent": 0}]
    day = ("2026-03-20T00:00", "2026-03-20T23:00")
    _, facing = search(budget(one_panel(day=day, shade=shade))).yields().best()
    assert 90.0 < facing < 160.0


@pytest.mark.parametrize("name", ["best", "follow", "flat"])
def test_the_plan_with_a_setting_gives_the_energy_foretold(job, name):
    # Monday 07:00 to Friday 18:00: the light of five days lies in it, that of three is "a day".
    setting = getattr(job, name)
    result = budget(job.plan.budget.plan.replace(**setting.change))
    given_w = result.solar.panel_w.mean(axis=1)
    hours = np.diff(result.days.cells)[result.weather.light.lit] / 3600.0
    midnight = to_utc(datetime(2027, 1, 12), ZoneInfo("America/New_York"))
    day = np.floor((result.days.cells[:-1][result.weather.light.lit] - midnight) / 86400.0)
    three = np.isin(day, [0.0, 1.0, 2.0])
    assert (given_w * hours)[three].sum() / 3.0 == pytest.approx(setting.wh_per_day, rel=1e-9)
    five_wh = (given_w * hours).sum()
    assert five_wh / job.plan.daylight.plan_days == pytest.approx(setting.own_wh, rel=1e-9)
    assert job.plan.daylight.plan_days == pytest.approx(5.0, rel=0.05)


def test_the_turns_written_into_the_plan_give_the_energy_foretold(repair):
    turns = repair.re_aim[2]
    written = repair.plan.budget.plan.replace(**turns.change)
    assert written.panel[0].aim == "re-aimed"
    books = budget(written).ledger_wh
    given = books["sun_on_panel"] - books["panel_losses"] - books["refused"]
    # From 07:00 to 08:00 of the next day, before its sunrise: one day's light.
    assert given.mean() == pytest.approx(turns.own_wh, rel=0.01)


def test_the_pose_is_written_into_the_plans_own_text(repair, tmp_path):
    file = tmp_path / "pointed.toml"
    file.write_text(write_changes("builtin:cloudy-repair", repair.change), encoding="utf-8")
    panel = Plan.read(file).panel[0]
    pose = (panel.aim, panel.tilt_deg, panel.facing_deg)
    assert pose == ("fixed", repair.tilt_deg, repair.azimuth_deg)
    assert "# 0 lies flat, 90 stands" in file.read_text(encoding="utf-8")


def test_json_has_the_keys_that_others_rely_on(repair):
    found = repair.as_dict()
    assert list(found) == [
        "best",
        "plan_wh_per_day",
        "flat_wh_per_day",
        "follow_wh_per_day",
        "re_aim",
        "day",
    ]
    assert found["day"] == {"counts": "touched-days", "first": "2026-09-14", "last": "2026-09-15"}
    assert list(found["best"]) == ["tilt_deg", "azimuth_deg", "wh_per_day"]
    assert [len(turns["at"]) for turns in found["re_aim"]] == [1, 2, 3]
    assert all(list(turns) == ["at", "wh_per_day"] for turns in found["re_aim"])


def test_a_swinging_boat_chooses_its_tilt_alone(anchorage):
    assert anchorage.as_dict()["best"]["azimuth_deg"] is None
    assert anchorage.re_aim == ()
    assert set(anchorage.change) == {"panel.2.aim", "panel.2.re_aim_at", "panel.2.tilt_deg"}
    assert anchorage.best.budget.plan.panel[1].aim == "swinging"


def test_over_all_headings_under_a_high_sun_flat_is_best(anchorage):
    # Symmetry: what one heading gains the opposite one loses, and the dome shrinks with the tilt.
    assert anchorage.tilt_deg <= 5.0


def test_a_boat_is_told_that_it_swings(anchorage, repair):
    assert any("at anchor" in line for line in advice(anchorage))
    assert not any("at anchor" in line for line in advice(repair))


def test_the_raised_edge_stands_as_high_as_the_sine_of_the_tilt(repair):
    assert replace(repair, tilt_deg=30.0).prop_height_m(2.0) == pytest.approx(1.0)


def test_the_bearing_is_true_and_the_compass_is_warned_of(repair):
    assert f"{repair.azimuth_deg:.0f} degrees true" in finding(repair)
    assert any("easterly declination off" in line for line in advice(repair))


def test_a_plan_that_follows_the_sun_is_told_what_standing_still_costs():
    answer = aim(one_panel(aim="follow"))
    less = answer.follow.wh_per_day - answer.best.wh_per_day
    assert answer.plan.wh_per_day == pytest.approx(answer.follow.wh_per_day)
    assert finding(answer).endswith(f"{less:.0f} less than planned, but without turning")


def test_energy_becomes_repeats_after_the_losses():
    # By hand: 100 Wh x 0.97 controller x 0.99 battery x 0.90 outlet = 86.4 Wh; a charge takes 20.
    result = budget(plan(task=[{**CHARGER, "charges": 2, "between": ["09:00", "17:00"]}]))
    assert enough_for(result, 100.0) == '"phone" about 4 more times'
    assert enough_for(result, 10.0) == ""


def test_what_a_full_pack_spills_is_worth_nobodys_turn():
    idle = {"task.1.working_w": 1, "pack.idle_w": 0}
    full = aim(one_panel(pack={"start_percent": 100}).replace(**idle))
    empty = aim(one_panel().replace(**idle))
    assert full.re_aim[2].wh_per_day > 1.1 * full.best.wh_per_day
    assert full.worth_turning is None
    assert empty.worth_turning is not None
    text = unfolded(at_a_glance(lambda width: sheet(full, width)))
    assert "not worth getting up for" in text
    assert "Wh a day go unused, the pack being full" in text


def test_turns_that_give_no_more_are_not_shown(job):
    shown = [words for words, _ in settings(job)]
    least = 1.01 * job.best.own_wh
    assert len(shown) == 4 + sum(turns.own_wh >= least for turns in job.re_aim)


def test_the_watts_over_the_day_hold_the_energy_of_a_day():
    day = aim(one_panel())
    for setting in (day.flat, day.best, day.follow):
        assert setting.watts().sum() * 0.5 == pytest.approx(setting.wh_per_day, rel=1e-6)
    assert len(hours_lines(day, 80)) >= 1 + 15  # the June day at 45 N has 15.6 h of sun


def test_in_the_polar_night_no_pose_helps():
    answer = aim(one_panel(78.0, ("2026-12-20T00:00", "2026-12-21T00:00")))
    assert answer.as_dict()["best"]["wh_per_day"] == 0.0
    assert answer.re_aim == ()
    assert "No sun" in finding(answer)
    assert not any("best" in text.get_text() for p in aim_picture(answer).axes for text in p.texts)


def test_on_a_polar_day_following_beats_every_fixed_pose_by_far():
    # The sun goes all round: a fixed panel has it behind itself for half of the time (geometry).
    answer = aim(one_panel(80.0, ("2026-06-21T00:00", "2026-06-22T00:00")))
    assert answer.follow.wh_per_day > 1.8 * answer.best.wh_per_day


def test_a_plan_without_panels_has_nothing_to_point():
    with pytest.raises(PlanError) as caught:
        aim(plan())
    assert caught.value.problems == ["plan: has no [[panel]]: there is nothing to point"]


def test_the_picture_marks_the_best_and_the_planned_pose(repair):
    poses, day = aim_picture(repair).axes
    assert {"best", "as planned", "−2 %", "N"} <= {text.get_text() for text in poses.texts}
    assert any(text.get_text().startswith("best pose, ") for text in day.texts)


def test_the_picture_of_a_boat_shows_the_tilts(anchorage):
    tilts, _ = aim_picture(anchorage).axes
    assert {"best", "as planned"} <= {text.get_text() for text in tilts.texts}


def test_whole_days_inside_a_plan_are_those_that_count(anchorage, job):
    assert "Tue 12 Jan to Thu 14 Jan" in day_in_words(job)
    words = day_in_words(anchorage)
    assert words == "A day here is the whole day of the plan, Sat 10 Oct."


@pytest.mark.parametrize("name", ["cloudy-repair", "two-night-trip", "january-job"])
def test_the_hours_table_adds_up_to_the_days_yield(name):
    answer = aim_of(name)
    rows = [re.findall(r"(\d+) W", line) for line in hours_lines(answer, 100)]
    columns = zip(*([float(watts) for watts in row[:3]] for row in rows if row), strict=True)
    rounding = 0.5 * 24.0  # of each hour shown, and what is not shown
    for settings_wh, watts in zip((answer.flat, answer.plan, answer.best), columns, strict=True):
        assert sum(watts) == pytest.approx(settings_wh.wh_per_day, abs=rounding)
        assert settings_wh.watts().sum() / 2.0 == pytest.approx(settings_wh.wh_per_day)
