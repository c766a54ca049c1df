"""Choices where a limit, the hands or the order of things decides, not the energy.

Each plan is small enough to see what is right. All plans are invented.
"""

import pytest
from choose_plans import in_order, random_plan
from choose_plans import pack_alone as plan

from energy.answers.choose.choose import choose
from energy.simulation.budget import budget, changed

KETTLE = {"name": "kettle", "supply": "ac", "working_w": 500, "at": "12:00", "minutes": 10,
          "must": True}  # fmt: skip


@pytest.mark.parametrize(("asked", "fits"), [(1, 0), (2, 2), (3, 2), (5, 4), (6, 6), (7, 6)])
def test_an_odd_number_of_cuts_meets_the_kettle_and_an_even_one_does_not(asked, fits):
    # Spread over 09:00 to 15:00, an odd number has its middle one at 12:00, with the kettle.
    saw = {"name": "saw", "supply": "ac", "working_w": 300, "times": asked, "each_min": 5,
           "between": ["09:00", "15:00"]}  # fmt: skip
    answer = choose(plan(KETTLE, saw))
    cuts = sum(row.times for row in answer.timetable if row.task == "saw")
    assert cuts == fits


def test_one_pair_of_hands_does_two_cuts_where_three_would_meet_the_other_tool():
    other = {"name": "drill", "supply": "ac", "working_w": 100, "at": "12:00", "minutes": 10,
             "must": True, "hand_held": True}  # fmt: skip
    saw = {"name": "saw", "supply": "ac", "working_w": 300, "times": 3, "each_min": 5,
           "between": ["09:00", "15:00"], "hand_held": True}  # fmt: skip
    answer = choose(plan(other, saw, goal=90).replace(**{"goal.one_at_a_time": True}))
    assert sum(row.times for row in answer.timetable if row.task == "saw") == 2


def lamp(name, watts=20, **keys):
    return {"name": name, "supply": "dc12", "working_w": watts, "minutes": 60, **keys}


HEATER = {"name": "heater", "supply": "dc12", "working_w": 115, "between": ["08:00", "20:00"],
          "priority": 3}  # fmt: skip  # with any lamp it passes the 12 V outlets' 120 W


def test_what_waits_goes_by_the_date_of_what_it_waits_for_on_a_day_between():
    # "stir" on the second day waits for "mix" of the first, which is long done.
    mix, stir = lamp("mix", at="10:00", days=[1, 3]), lamp("stir", at="13:00", days=[1, 2, 3])
    asked = plan(mix, stir | {"after": "mix"}, HEATER, days=3)
    assert not any("waits for" in note for note in budget(asked).notes)
    assert choose(asked).served["2"] == pytest.approx(2.0)


@pytest.mark.oracle
def test_what_waits_goes_by_the_date_of_what_it_waits_for_on_the_last_day():
    # "mix" of the last day ends at 14:00, too late for an hour of "stir": worth most is "stir"
    # after the "mix" of the day before, without that of the last day.
    mix = lamp("mix", at="13:00", days=[1, 2, 3])
    stir = lamp("stir", between=["10:00", "14:03"], days=[3], flexible=True, after="mix")
    answer = choose(plan(mix, stir, HEATER, days=3))
    assert not any("waits for" in note for note in answer.budget.notes)
    assert in_order(answer.budget)
    assert answer.served["2"] == pytest.approx(2 / 3 + 1)


def test_what_must_run_brings_what_it_waits_for():
    cut = lamp("cut", at="10:00", priority=3)
    weld = lamp("weld", at="12:00", must=True, after="cut")
    heater = HEATER | {"priority": 2}
    asked = plan(cut, weld, heater)
    assert changed(budget(asked), {"task.3": None}).yes
    answer = choose(asked)
    assert answer.possible
    assert answer.served["3"] > 0.0


def test_where_nothing_fits_the_smallest_task_says_by_how_much():
    heater = {"name": "heater", "supply": "ac", "working_w": 500, "times": 1, "each_min": 300,
              "at": "10:00"}  # fmt: skip
    answer = choose(plan(heater, pack={"capacity_wh": 500, "discharge_max_w": 1000}))
    assert not answer.possible
    assert "heater" in answer.alone
    assert answer.short_wh > 0.0


def test_a_forerunner_behind_a_larger_task_is_not_forgotten():
    # 5 units of energy: C with A and B, which waits for A, is worth 3.4; C with X only 3.
    def task(name, units, value, at, **keys):
        return {"name": name, "supply": "dc12", "working_w": units * 114.0, "times": 1,
                "each_min": 5, "spread_percent": 0, "value": value, "at": at, **keys}  # fmt: skip

    pack = {"capacity_wh": 52, "reserve_percent": 0, "resistive_h": 0, "dc12": {"rated_w": 900},
            "self_discharge_percent_month": 0, "discharge_max_w": 900}  # fmt: skip
    tasks = [task("C", 1, 2, "09:00"), task("X", 3, 1, "11:00"), task("A", 3.5, 0.7, "13:00"),
             task("B", 0.5, 0.7, "15:00", after="A")]  # fmt: skip
    answer = choose(plan(*tasks, pack=pack))
    assert answer.served["2"] == pytest.approx(3.4)


def test_a_little_of_the_forerunner_is_enough_for_what_waits_for_it():
    # 51 Wh hold all of "cut" (42 Wh), or "weld" (32 Wh) with up to five of its twelve parts.
    cut = lamp("cut", 40, at="09:00", value=0.5, spread_percent=0)
    weld = {"name": "weld", "supply": "dc12", "working_w": 30, "times": 1, "each_min": 60,
            "at": "12:00", "value": 2, "spread_percent": 0, "after": "cut"}  # fmt: skip
    pack = {"capacity_wh": 52, "reserve_percent": 0, "resistive_h": 0,
            "self_discharge_percent_month": 0}  # fmt: skip
    answer = choose(plan(cut, weld, pack=pack))
    assert answer.served["2"] == pytest.approx(2 + 0.5 * 5 / 12, abs=1e-4)


@pytest.mark.parametrize("scenarios", [7, pytest.param(14, marks=pytest.mark.oracle)])
def test_a_rough_climate_in_few_scenarios_is_judged_in_those_too(scenarios):
    # The yes asks for the goal in the plan's own scenarios and at the low end of the doubt.
    tasks = [lamp(f"lamp {k}", 100, at=f"{9 + k}:00", priority=1 + k) for k in range(5)]
    for start in (62, 71, 77):
        asked = plan(*tasks, pack={"capacity_wh": 500, "start_percent": start, "idle_w": 3},
                     goal=60, weather={"kind": "climate", "futures": scenarios},
                     panel=[{"rated_w": 40}])  # fmt: skip
        whole, answer = budget(asked), choose(asked)
        kept = []
        for k in range(5):  # by twelfths: of each as much as holds beside those before it
            most = next(
                n for n in range(12, -1, -1) if n == 0 or changed(
                    whole, {"task": [*kept, tasks[k] | {"minutes": 5 * n}]}
                ).yes
            )  # fmt: skip
            kept += [tasks[k] | {"minutes": 5 * most}] if most else []
            assert answer.served[str(k + 1)] == pytest.approx(most / 12, abs=1e-4), start
            if most < 12:
                break


def test_what_could_only_come_too_early_is_not_said_to_fail_or_to_fit_in_place_of_another():
    late = lamp("late", between=["18:00", "22:00"])
    early = lamp("early", between=["09:00", "12:00"], after="late", priority=1)
    (left,) = choose(plan(late, early, lamp("other", watts=60), pack={"capacity_wh": 600})).left_out
    assert left.task == "early"
    assert left.why == 'it would come before "late" is done'
    assert (left.failing, left.costs) == (None, None)


def test_what_belongs_together_is_put_back_together():
    pack = {"capacity_wh": 80, "discharge_max_w": 400}
    film = lamp("film", watts=90, between=["18:00", "22:00"], priority=3)
    speaker = lamp(
        "loudspeaker", watts=2, between=["18:00", "22:00"], priority=3, **{"with": "film"}
    )
    answer = choose(plan(film, speaker, lamp("small", watts=20, priority=1), pack=pack))
    lines = {left.task: left for left in answer.left_out}
    assert set(lines) == {"film", "loudspeaker"}
    assert lines["film"].failing == lines["loudspeaker"].failing
    assert 'with it and "film"' in lines["loudspeaker"].why


CUT = {"name": "cut", "supply": "ac", "working_w": 400, "times": 10, "each_min": 6,
       "between": ["09:00", "14:00"], "priority": 1, "value": 2, "spread_percent": 0}  # fmt: skip
LIGHT = {"name": "light", "supply": "dc12", "working_w": 12, "between": ["09:00", "14:00"],
         "priority": 1, "with": "cut", "spread_percent": 0}  # fmt: skip


def some(cuts, way):
    return {k: v for k, v in (CUT | {"times": cuts} | way).items() if v is not None}


@pytest.mark.parametrize("flexible", [False, True])
@pytest.mark.parametrize("capacity_wh", [120, 180, 260, 330, 420, 700])
def test_as_many_cuts_as_the_pack_bears_with_their_light(capacity_wh, flexible):
    # The light runs through its window however many cuts are made; a later lamp gets what is left.
    # Spread evenly the cuts keep the inverter on for longer than in a block, where they may move.
    later = lamp("later", 15, at="16:00", priority=3)
    pack = {"capacity_wh": capacity_wh, "reserve_percent": 10, "discharge_max_w": 900}
    asked = plan(CUT | {"flexible": flexible}, LIGHT, later, pack=pack)
    whole, answer = budget(asked), choose(asked)
    ways = [{"between": CUT["between"]}]
    ways += [{"at": at, "between": None} for at in ("09:00", "11:00", "12:00")] * flexible
    cuts = max(
        (n for way in ways for n in range(1, 11)
         if changed(whole, {"task": [some(n, way), LIGHT]}).yes), default=0
    )  # fmt: skip
    served = {row.task: row.times for row in answer.timetable}
    assert cuts == served.get("cut", 0)
    assert ("light" in served) == (cuts > 0)
    assert answer.served["1"] == pytest.approx(3 * cuts / 10, abs=1e-4)
    assert answer.budget.yes
    for left in answer.left_out:
        if left.task == "cut":
            assert left.times == 10 - cuts
        if left.task == "light":
            assert left.why.endswith("it goes along in full, however few are done")


def test_a_film_and_its_player_end_together():
    film = lamp("film", 60, at="18:00", minutes=None, hours=1.5, priority=1)
    film = {key: value for key, value in film.items() if value is not None}
    player = film | {"name": "player", "working_w": 10, "with": "film"}
    answer = choose(plan(film, player, pack={"capacity_wh": 80, "reserve_percent": 10}))
    ends = {row.task: row.end for row in answer.timetable}
    assert set(ends) == {"film", "player"}
    assert ends["film"] == ends["player"]
    assert 0.0 < answer.served["1"] < 2.0


def test_counts_that_share_no_part_stay_all_or_nothing():
    drill = CUT | {"name": "drill", "times": 7, "with": "cut"}
    pack = {"capacity_wh": 500, "reserve_percent": 10, "discharge_max_w": 900}
    answer = choose(plan(CUT, drill, pack=pack))
    assert not answer.possible
    pairs = plan(CUT, CUT | {"name": "drill", "times": 5, "with": "cut"},
                 pack=pack)  # fmt: skip
    counts = {row.task: row.times for row in choose(pairs).timetable}
    assert counts["cut"] == 2 * counts["drill"] > 0


def test_what_must_wait_for_a_movable_task_finds_the_one_place_before_it():
    # The cut has room for one before the charge that must run at 11:36, and places after
    # noon that the sun favours; "what must run does not fit, even alone" would be untrue.
    found = choose(random_plan(58))
    assert found.possible
    assert found.served["1"] == pytest.approx(1.25)


def test_what_another_waits_for_is_not_put_where_that_comes_too_early():
    # The cuts may come all day, at best late, when the sun has been; the holes wait for them and
    # have until 13:00. There is energy and time for both, in the right order.
    cut = {"name": "cut", "supply": "dc12", "working_w": 60, "minutes": 30, "flexible": True,
           "between": ["08:00", "20:00"], "priority": 1}  # fmt: skip
    drill = cut | {"name": "drill", "between": ["09:00", "13:00"], "priority": 2, "after": "cut"}
    tea = {"name": "tea", "supply": "dc12", "working_w": 100, "priority": 3,
           "between": ["14:00", "20:00"]}  # fmt: skip
    answer = choose(plan(cut, drill, tea, pack={"capacity_wh": 150, "reserve_percent": 20}))
    assert answer.served["1"] == pytest.approx(1.0)
    assert answer.served["2"] == pytest.approx(1.0)


def test_of_a_single_weather_no_count_is_said():
    flood = lamp("flood light", watts=100, at="09:00", must=True)
    small = lamp("lamp", watts=60, at="12:00")
    answer = choose(plan(flood, small, pack={"capacity_wh": 180.0}))
    (left,) = answer.left_out
    assert left.why.startswith("with it the plan fails in the one weather tried")
