"""What a plan costs is bounded before it is paid: in segments and scenarios, not in time."""

import numpy as np
import pytest
from plan_tables import COOLER, LAMP, plan, refused

import energy.weather.synthetic.synthetic as drawing
from energy.plan import PlanError
from energy.simulation import work
from energy.simulation.budget import budget
from energy.simulation.work import cells_of
from energy.weather import weathers

CLIMATE = {"kind": "climate"}


def month(**changes):
    span = {"start": "2026-06-01T00:00:00", "end": "2026-07-01T00:00:00"}
    return plan(**{"span": span, "weather": CLIMATE, **changes})


@pytest.mark.parametrize("kind", ["climate", "clear"])
def test_more_futures_than_can_be_simulated_are_refused_before_one_is_drawn(monkeypatch, kind):
    def drawn(*_):
        raise AssertionError("the weather was drawn")

    monkeypatch.setattr(drawing, "_weather", drawn)
    with pytest.raises(PlanError) as error:
        budget(month(weather={"kind": kind, "futures": 10_000}))
    (line,) = error.value.problems
    assert "10,000 weathers of 8,6" in line
    assert "shorten the span" in line


def test_as_many_futures_as_the_line_names_are_simulated(monkeypatch):
    monkeypatch.setattr(weathers, "MOST_CELLS", 20_000)
    with pytest.raises(PlanError) as error:
        budget(plan(weather=CLIMATE))
    most = int(error.value.problems[0].split("futures = ")[1].split()[0])
    assert 31 < most < 200
    assert budget(plan(weather={"futures": most, **CLIMATE})).success.size == most
    with pytest.raises(PlanError):
        budget(plan(weather={"futures": most + 1, **CLIMATE}))


def test_the_weathers_that_a_record_lacks_are_not_counted(monkeypatch):
    monkeypatch.setattr(weathers, "MOST_CELLS", 20_000)
    file = {"kind": "file", "file": "builtin:sand-point", "futures": 5000}
    assert budget(plan(weather=file)).success.size == 31


def test_the_ends_of_the_doubt_cost_no_more_than_so_many_cells(monkeypatch):
    monkeypatch.setattr(weathers, "CELLS_AT_THE_ENDS", 20_000)
    result = budget(plan(weather=CLIMATE))
    segments = result.time_s.size - 1
    for end in result.bounds:
        assert end.success.size == 20_000 // segments
    assert result.success.size == 200


def test_a_budget_goes_without_a_ledger_as_it_would_with_one():
    from energy.model.simulate import simulate

    small = {"capacity_wh": 100, "chemistry": "lfp"}
    result = budget(plan(weather=CLIMATE, pack=small, task=[LAMP, COOLER]))
    for each in (result, *result.bounds):
        whole = simulate(each.case)
        assert whole.unmet_wh.max() > 1.0
        assert np.array_equal(each.simulated.store_wh, whole.store_wh)
        assert np.array_equal(each.simulated.first_short_s, whole.first_short_s)
        assert np.array_equal(each.simulated.unmet_wh, whole.unmet_wh)
        assert np.array_equal(each.simulated.first_unmet_s, whole.first_unmet_s)
        assert not each.simulated.ledger_wh
        for name, wh in each.middle_ledger_wh.items():
            assert wh == pytest.approx(each.ledger_wh[name][each.middle], abs=1e-9), name


def test_a_usual_plan_gets_all_its_scenarios():
    week = {"start": "2026-06-01T00:00:00", "end": "2026-06-08T00:00:00"}
    result = budget(plan(span=week, weather=CLIMATE, task=[LAMP, COOLER]))
    assert [each.success.size for each in (result, *result.bounds)] == [200] * 3


def test_the_lowest_point_in_blocks_is_that_of_the_whole(monkeypatch):
    from energy.model import simulate
    from energy.simulation.success import lowest_point

    cold = {"temp_air_c": [-15, 12], "futures": 40, **CLIMATE}
    result = budget(plan(weather=cold, pack={"chemistry": "lfp"}, task=[LAMP, COOLER]))
    charge = result.simulated.store_wh * (100.0 / result.capacity_wh)
    locked = np.broadcast_to(result.cold_unavailable_percent, charge[1:].shape)
    above = np.minimum(charge[:-1] - locked, charge[1:] - locked).min(axis=0)
    monkeypatch.setattr(simulate, "BLOCK_CELLS", 170)
    edge, height = lowest_point(result.case, result.simulated)
    assert np.array_equal(height, above)
    at = charge[edge, np.arange(edge.size)]
    beside = [locked[np.clip(edge - k, 0, len(locked) - 1), np.arange(edge.size)] for k in (0, 1)]
    assert np.all((at - beside[0] == height) | (at - beside[1] == height))


def test_a_slip_in_each_of_many_names_is_compared_for_the_lines_that_are_shown(monkeypatch):
    from energy.plan import words

    compared = []
    near = words.get_close_matches

    def counted(word, known, **how):
        compared.append(len(known))
        return near(word, known, **how)

    monkeypatch.setattr(words, "get_close_matches", counted)
    many = [LAMP | {"name": f"lamp-{k}", "after": f"lomp-{k}"} for k in range(300)]
    runs = [{"from": "pack", "to": f"task:lomp-{k}", "length_m": 1} for k in range(200)]
    problems = refused(task=many, run=runs)
    assert problems[0].endswith('did you mean "lamp-0"?')
    assert len(problems) == 41
    assert sum(compared) <= 2 * 41 * 300


def test_words_for_overloads_cost_in_proportion_to_the_tasks(monkeypatch):
    from energy.answers.check.check import task_answers
    from energy.model.demand import Burst

    counts = []
    for many in (60, 120):
        heaters = [
            LAMP | {"name": f"heater-{k}", "working_w": 900, "hours": 1} for k in range(many)
        ]
        result, looked_at = budget(plan(task=heaters)), []
        assert len(result.overloads) >= many

        def counted(self, key, looked_at=looked_at):
            looked_at.append(key)
            return object.__getattribute__(self, key)

        with monkeypatch.context() as patch:
            patch.setattr(Burst, "__getattribute__", counted)
            task_answers(result)
        counts.append(looked_at.count("task"))
    assert counts[1] < 2.2 * counts[0]


def test_cautions_cost_in_proportion_to_the_tasks(monkeypatch):
    from energy.answers.caution import telling, tools
    from energy.answers.caution.cautions import cautions

    counts = []
    for many in (60, 120):
        hot_saws = [LAMP | {"name": f"saw {k}", "hot": True} for k in range(many)]
        result, asked = budget(plan(place={"around": ["alone"]}, task=hot_saws)), []

        def counted(task, risk, asked=asked):
            asked.append(task)
            return telling.carries(task, risk)

        with monkeypatch.context() as patch:
            patch.setattr(tools, "carries", counted)
            raised = {caution.id for caution in cautions(result)}
        assert {"alone-with-tools", "blade-tools", "hot-tools"} <= raised
        counts.append(len(asked))
    assert counts[1] < 2.2 * counts[0]


TWO_DAYS = {"start": "2026-06-01T06:00:00", "end": "2026-06-03T06:00:00"}
SMALL_PACK = {"capacity_wh": 250, "dc12": {"rated_w": 120}}


def two_days(**changes):
    lamps = [LAMP | {"name": f"lamp-{k}", "hours": 3, "between": ["18:00", "23:00"]} for k in "ab"]
    fixed = {"rated_w": 60, "tilt_deg": 30, "facing": "S"}
    given = {"span": TWO_DAYS, "weather": CLIMATE, "pack": SMALL_PACK, "panel": [fixed]}
    return plan(**{**given, "task": [*lamps, COOLER], **changes})


def short_of_energy():
    return two_days(pack={**SMALL_PACK, "capacity_wh": 60}, weather={**CLIMATE, "futures": 40})


def test_the_best_pose_in_more_than_can_be_simulated_is_refused_in_one_line(monkeypatch):
    from energy.answers.aim import aim

    result = budget(two_days())
    monkeypatch.setattr(work, "MOST_CELLS", 4 * cells_of(result))
    monkeypatch.setattr(aim, "search", lambda _: pytest.fail("the poses were tried"))
    with pytest.raises(PlanError) as error:
        aim.aim(result)
    (line,) = error.value.problems
    assert "the best pose in 200 weathers of" in line
    assert line.endswith("shorten the span, to about 1 day")


def test_a_choice_that_takes_more_than_can_be_searched_is_refused_before_it_is_sought(monkeypatch):
    from energy.answers.choose.choose import choose
    from energy.answers.choose.search import Search

    asked = two_days(pack={**SMALL_PACK, "capacity_wh": 60})
    monkeypatch.setattr(work, "MOST_CELLS", 1000)
    monkeypatch.setattr(Search, "__init__", lambda *_: pytest.fail("a search was laid out"))
    with pytest.raises(PlanError) as error:
        choose(asked)
    (line,) = error.value.problems
    assert "a choice in 200 weathers of" in line
    assert "shorten the span" in line


def test_a_long_plan_gets_fewer_tries_beyond_the_greedy_choice(monkeypatch):
    from energy.answers.choose import search

    result = budget(two_days())
    usual = search.Search(result, 1800.0, 1, None)._allowed
    cells = cells_of(result.low_end)
    monkeypatch.setattr(search, "MOST_CELLS", 7.5 * search.SEARCHED * cells)
    assert search.Search(result, 1800.0, 1, None)._allowed == 7 < usual
    assert search.Search(result, 1800.0, 2, None)._allowed == 21


def test_changes_are_tried_until_so_many_cells_are_simulated(monkeypatch):
    from energy.answers.fix import fix, trials
    from energy.answers.fix.words import CUT_SHORT, fix_part

    result, far = budget(short_of_energy()), []
    usual = fix.fixes(result, lambda *done_of: far.append(done_of))
    assert not usual.cut_short
    assert far[0][0] == 0
    assert [done for done, _ in far] == sorted(done for done, _ in far)
    assert all(done < total for done, total in far)
    calls = []
    change = trials.changed

    def counted(*arguments):
        calls.append(arguments)
        return change(*arguments)

    monkeypatch.setattr(trials, "changed", counted)
    monkeypatch.setattr(trials, "MOST_CELLS", 5 * cells_of(result.low_end))
    short = fix.fixes(result)
    assert short.cut_short
    assert 0 < len(calls) <= 5 / trials.ROUGH
    alike = {kind.kind: kind.text for kind in usual.found}
    assert all(alike[kind.kind] == kind.text for kind in short.found)
    assert set(short.not_enough) <= set(usual.not_enough)
    for every in (True, False):
        assert CUT_SHORT in map(str, fix_part(short, 80, every=every, clash=False).lines)
    assert CUT_SHORT not in map(str, fix_part(usual, 80, every=True, clash=False).lines)


def test_many_sizes_of_a_long_plan_are_run_in_blocks(monkeypatch):
    from energy.answers.size import designs

    made = designs.make_designs(two_days())
    sizes = [np.full(40, 100.0), np.linspace(100, 600, 40), np.arange(40)]
    several = made.tried(0, *sizes)
    columns = []
    simulate = designs.simulate

    def counted(case, **how):
        columns.append(case.factor.shape[1])
        return simulate(case, **how)

    monkeypatch.setattr(designs, "simulate", counted)
    monkeypatch.setattr(designs, "CELLS_AT_ONCE", 9 * (made.cases[0].edges.size - 1))
    blocks = made.tried(0, *sizes)
    assert columns == [9, 9, 9, 9, 4]
    assert all(np.array_equal(one, other) for one, other in zip(several, blocks, strict=True))


def test_what_is_asked_in_each_slot_is_the_same_in_blocks(monkeypatch):
    from energy.answers.choose import coarse

    result = budget(two_days())
    rough = coarse.Coarse(result)
    cooler = [burst for burst in result.bursts if burst.task == 2]
    usual = rough.asked_wh(2, cooler)
    assert usual.sum() == pytest.approx(
        result.asked_wh[2] * 100.0 / result.plan.pack.dc12.efficiency_percent
    )
    monkeypatch.setattr(coarse, "CELLS_AT_ONCE", 7 * len(cooler))
    assert np.allclose(rough.asked_wh(2, cooler), usual, rtol=1e-12, atol=1e-12)


def test_a_source_is_looked_for_in_so_many_hours_before_the_lowest_charge(monkeypatch):
    from energy.answers.fix import kit

    result = budget(two_days(pack={**SMALL_PACK, "capacity_wh": 60}))
    usual = kit._best_ends(result)
    monkeypatch.setattr(kit, "CELLS_AT_ONCE", 1)
    assert kit._best_ends(result) == usual
    looked_at = []
    margins = kit._margins

    def counted(coarse, asked_wh, given):
        looked_at.append(given)
        return margins(coarse, asked_wh, given)

    monkeypatch.setattr(kit, "_margins", counted)
    monkeypatch.setattr(kit, "MOST_WINDOWS", 4)
    assert kit._best_ends(result)
    _, lowest_s = kit._emptying(result.low_end)
    assert [len(given) for given in looked_at] == [4] * len(kit.SOURCE_TRIED_MIN)
    assert all(ends_s <= lowest_s or ends_s - lowest_s < 86400.0 for _, ends_s in looked_at[0])
