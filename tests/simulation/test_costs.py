"""What a plan costs is bounded before it is paid: in segments and scenarios, not in time."""

import numpy as np
import pytest
from plan_tables import COOLER, LAMP, plan, refused

import energy.weather.synthetic.synthetic as drawing
from energy.plan import PlanError
from energy.simulation.budget import budget
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
