"""Many plans asked the same: rows in their order, whatever becomes of plans, workers and files.

What executors and their futures do is that of Python's own `concurrent.futures`; that a line that
is cut short is no row is common practice, no source.
"""

import threading
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from functools import partial
from types import SimpleNamespace

import pandas as pd
import pytest
from many_questions import BASE, by_pack, by_panel, dies, dies_once, plans, refused_from

from energy.answers.aim.aim import aim
from energy.answers.check.check import check
from energy.answers.choose.choose import choose
from energy.answers.fix.fix import fixes
from energy.answers.many import many as many_module
from energy.answers.many.many import many
from energy.answers.many.processes import processes
from energy.answers.size.size import size
from energy.answers.wire.wire import wire
from energy.plan import Plan, PlanError


class Here(Executor):
    """Answers at once, in this thread."""

    def __init__(self):
        self.asked = []

    def submit(self, function, question, name, plan):
        self.asked.append(name)
        future = Future()
        try:
            future.set_result(function(question, name, plan))
        except BaseException as error:
            future.set_exception(error)
        return future


class Breaking(Executor):
    """Breaks for good when it is given one of some plans, as a pool whose process dies: what it has
    not answered by then is lost. It answers when it is waited for."""

    def __init__(self, deadly, log):
        self.deadly, self.log, self.broken = deadly, log, False

    def submit(self, function, question, name, plan):
        if self.broken:
            raise BrokenExecutor("broken")
        self.log.append(name)
        if name in self.deadly:
            self.broken = True
            self.deadly.remove(name)
        return Awaited(self, partial(function, question, name, plan))


class Awaited(Future):
    """Is answered when it is waited for, unless its pool has broken."""

    def __init__(self, pool, answer):
        super().__init__()
        self.pool, self.answer = pool, answer

    def result(self, timeout=None):
        if not self.done() and self.pool.broken:
            self.set_exception(BrokenExecutor("broken"))
        elif not self.done():
            self.set_result(self.answer())
        return super().result(timeout)


def names(answer):
    return [row.name for row in answer.rows]


def told(path):
    return path.read_text().splitlines()


# --- rows ---------------------------------------------------------------------------------------


def test_rows_come_in_the_order_given_whatever_ends_first():
    last = threading.Event()

    def question(plan):
        if plan.pack.capacity_wh == 500:
            assert last.wait(60.0)
        if plan.pack.capacity_wh == 503:
            last.set()
        return by_pack(plan)

    with ThreadPoolExecutor(2) as threads:
        answer = many(question, plans(5), threads)
    assert names(answer) == [f"plan {k}" for k in range(5)]
    assert [row.answer for row in answer.rows] == ["yes", "no", "yes", "no", "yes"]
    assert answer.counts == {"yes": 3, "almost": 0, "no": 2, "problem": 0}


@pytest.mark.parametrize(
    "question",
    [check, aim, wire, *(pytest.param(ask, marks=pytest.mark.oracle) for ask in (choose, size))],
)
def test_a_row_says_what_the_answer_alone_says(question):
    plan = Plan.read("builtin:cloudy-repair")
    alone, row = question(plan), many(question, [plan], Here()).rows[0]
    assert row.error is None
    assert row.answer == getattr(alone, "answer", "yes" if alone.yes else "no")
    result = getattr(alone, "budget", None)
    if result is None:
        assert (row.chance, row.lowest) == (None, None)
    else:
        assert row.chance == pytest.approx(result.chance.percent, abs=0.051)
        assert row.lowest == pytest.approx(result.lowest().percent, abs=0.051)
        assert (row.low <= row.chance <= row.high) is True


@pytest.mark.oracle
def test_what_has_neither_answer_nor_yes_leaves_them_empty():
    row = many(fixes, [Plan.read("builtin:cloudy-repair")], Here()).rows[0]
    assert (row.answer, row.chance, row.error) == ("", None, None)


def test_a_plan_that_fails_is_a_row_with_its_problem():
    answer = many(refused_from, plans(5), Here())
    errors = [row.error for row in answer.rows]
    assert errors[2:4] == [
        "a line; another",
        "a fault of the tool: ZeroDivisionError: by nothing",
    ]
    assert errors[:2] + errors[4:] == [None] * 3
    assert answer.problems == 2
    assert answer.rows[2].latitude == BASE.place.latitude_deg


def test_a_plan_that_could_not_be_read_is_a_row_and_is_not_asked():
    here = Here()
    answer = many(by_pack, [("bad.toml", PlanError(["no", "way"])), BASE], here)
    assert answer.rows[0].error == "no; way"
    assert here.asked == [BASE.title]


def test_the_table_has_a_row_a_plan():
    table = many(refused_from, plans(3), Here()).table()
    assert list(table.columns) == [
        *("name", "latitude", "longitude", "answer", "chance", "low", "high", "lowest"),
        *("error", "warning", "why"),
    ]
    assert table["answer"].tolist() == ["yes", "no", ""]
    assert table["chance"].tolist()[:2] == [50.0, 50.1]
    assert pd.isna(table["chance"][2])


def test_plans_are_read_no_further_ahead_than_said():
    here, taken, furthest = Here(), [], []

    def stream():
        for named in plans(40):
            taken.append(named)
            yield named

    many(by_pack, stream(), here, ahead=5, progress=lambda done, of: furthest.append((done, of)))
    assert [done for done, _ in furthest] == list(range(1, 41))
    assert {of for _, of in furthest} == {None}
    taken.clear()
    ahead = []
    many(
        by_pack, stream(), Here(), ahead=5, progress=lambda done, _: ahead.append(len(taken) - done)
    )
    assert max(ahead) <= 5


def test_an_interrupt_returns_what_is_there():
    def interrupted(done, of):
        assert of == 6
        if done == 4:
            raise KeyboardInterrupt

    answer = many(by_pack, plans(6), Here(), progress=interrupted)
    assert not answer.complete
    assert names(answer) == [f"plan {k}" for k in range(4)]
    assert answer.plans == 4
    assert answer.total == 6


def test_what_the_engine_loses_is_asked_again_once():
    class Losing(Here):
        def submit(self, function, question, name, plan):
            answered = super().submit(function, question, name, plan)
            if name == "plan 1" or (name == "plan 3" and self.asked.count(name) == 1):
                answered = Future()
                answered.set_exception(ConnectionError("gone"))
            return answered

    losing = Losing()
    answer = many(by_pack, plans(5), losing)
    assert [row.kind for row in answer.rows] == ["yes", "problem", "yes", "no", "yes"]
    assert answer.rows[1].error == "its worker was lost twice (ConnectionError: gone)"
    assert losing.asked.count("plan 1") == losing.asked.count("plan 3") == 2


def test_an_engine_that_loses_everything_ends_the_run_and_spoils_no_file(tmp_path):
    class Gone(Here):
        def submit(self, function, question, name, plan):
            if int(name.split()[-1]) < 7:
                return super().submit(function, question, name, plan)
            lost = Future()
            lost.set_exception(ConnectionError("the scheduler is gone"))
            return lost

    asked = plans(20)
    asked[8::3] = [(name, PlanError(["cannot be read"])) for name, _ in asked[8::3]]
    rows = tmp_path / "rows.csv"
    with pytest.raises(BrokenExecutor, match="the scheduler is gone"):
        many(by_pack, asked, Gone(), rows)
    assert len(told(rows)) == 1 + 7
    many(by_pack, asked, Here(), rows)
    many(by_pack, asked, Here(), tmp_path / "whole.csv")
    assert rows.read_bytes() == (tmp_path / "whole.csv").read_bytes()


# --- processes ----------------------------------------------------------------------------------


@pytest.mark.parametrize("times", [1, 2])
def test_of_what_was_under_way_only_the_plan_that_workers_die_of_is_lost(monkeypatch, times):
    log, deadly, pools = [], ["plan 4"] * times, []

    def pool(_):
        pools.append(Breaking(deadly, log))
        return pools[-1]

    monkeypatch.setattr(many_module, "processes", pool)
    answer = many(by_pack, plans(12), 1, ahead=3)
    assert names(answer) == [f"plan {k}" for k in range(12)]
    problems = [row.name for row in answer.rows if row.error]
    assert problems == (["plan 4"] if times == 2 else [])
    assert len(pools) == times + 1
    assert max(log.count(name) for name in log) == 2


def test_an_executor_handed_in_that_breaks_is_said_and_what_is_written_stays(tmp_path):
    rows = tmp_path / "rows.csv"
    with pytest.raises(BrokenExecutor):
        many(by_pack, plans(12), Breaking(["plan 4"], []), rows, ahead=3)
    assert len(told(rows)) == 1 + 2  # as plan 4 was given while plan 2 was waited for
    many(by_pack, plans(12), Here(), rows)
    many(by_pack, plans(12), Here(), tmp_path / "whole.csv")
    assert rows.read_bytes() == (tmp_path / "whole.csv").read_bytes()


def test_a_process_that_dies_costs_no_plan_its_row(tmp_path):
    once = partial(dies_once, folder=str(tmp_path), wh=503)
    answer = many(once, plans(9), 2)
    assert (tmp_path / "died").exists()
    assert [row.kind for row in answer.rows] == ["yes", "no"] * 4 + ["yes"]


@pytest.mark.oracle
def test_a_plan_that_processes_die_of_is_the_only_one_lost():
    lost = many(partial(dies, wh=502), plans(4), 2)
    assert [row.kind for row in lost.rows] == ["yes", "no", "problem", "no"]
    assert "worker was lost twice" in lost.rows[2].error


@pytest.mark.oracle
def test_one_process_two_or_none_write_the_same_bytes(tmp_path):
    def at(k):
        return BASE.replace(**{"weather.kind": "climate", "place.latitude_deg": 44.0 + k})

    for name, executor in {"one": 1, "two": 2, "none": Here()}.items():
        many(check, map(at, range(10)), executor, tmp_path / name)
    (first, *others) = (path.read_bytes() for path in tmp_path.iterdir())
    assert first.count(b"\n") == 11
    assert others == [first] * 2


def test_a_question_that_processes_cannot_find_is_refused():
    with pytest.raises(TypeError, match="in a module"):
        many(lambda plan: by_pack(plan), plans(2))


def test_processes_that_do_not_start_are_said(monkeypatch):
    monkeypatch.setattr("energy.answers.many.processes.begin", dies)  # which takes other arguments
    with pytest.raises(RuntimeError, match="__main__"):
        processes(1)


# --- a file of rows -----------------------------------------------------------------------------


@pytest.fixture
def whole(tmp_path):
    """The file of a run without interruption."""
    many(refused_from, plans(7), Here(), tmp_path / "whole.csv")
    return (tmp_path / "whole.csv").read_bytes()


@pytest.mark.parametrize("stopped_at", [0, 1, 3, 6, 7])
def test_a_run_taken_up_again_writes_what_one_run_writes(tmp_path, whole, stopped_at):
    def interrupted(done, _):
        if done == stopped_at:
            raise KeyboardInterrupt

    rows, again = tmp_path / "rows.csv", Here()
    first = many(refused_from, plans(7), Here(), rows, progress=interrupted)
    assert len(told(rows)) == 1 + (stopped_at or 7)
    assert first.kept == ()
    answer = many(refused_from, plans(7), again, rows)
    assert rows.read_bytes() == whole
    assert again.asked == [f"plan {k}" for k in range(stopped_at or 7, 7)]
    assert answer.complete
    assert answer.counts == {"yes": 3, "almost": 0, "no": 2, "problem": 2}
    assert answer.rows == many(refused_from, plans(7), Here()).rows


def test_a_line_cut_short_anywhere_is_asked_again(tmp_path, whole):
    rows = tmp_path / "rows.csv"
    for length in range(0, len(whole), 29):
        rows.write_bytes(whole[:length])
        many(refused_from, plans(7), Here(), rows)
        assert rows.read_bytes() == whole, length


def test_no_worker_starts_where_all_rows_are_there(tmp_path, whole, monkeypatch):
    def pay(_):
        raise AssertionError("a worker was started")

    monkeypatch.setattr(many_module, "processes", pay)
    assert many(refused_from, plans(7), 2, tmp_path / "whole.csv").plans == 7


OTHER_RUNS = {
    "another question": (by_panel, plans(7)),
    "another argument": (partial(refused_from, least_wh=600), plans(7)),
    "another order": (refused_from, plans(7)[::-1]),
    "another plan": (refused_from, [*plans(6), *plans(1)]),
    "another name": (refused_from, [("new", plan) for _, plan in plans(7)]),
    "other keys": (refused_from, plans(7, **{"pack.idle_w": 1})),
    "fewer plans": (refused_from, plans(6)),
    "no plan": (refused_from, []),
}


@pytest.mark.parametrize("other", OTHER_RUNS)
def test_rows_of_other_plans_or_questions_are_refused_in_one_line_and_stay(tmp_path, whole, other):
    question, asked = OTHER_RUNS[other]
    rows, here = tmp_path / "whole.csv", Here()
    with pytest.raises(PlanError, match=r"line \d+ answers other plans") as no:
        many(question, asked, here, rows)
    assert len(no.value.problems) == 1
    assert rows.read_bytes() == whole
    assert here.asked == []
    many(question, asked, here, rows, force=True)
    assert len(told(rows)) == 1 + len(asked)


def test_a_file_of_another_kind_is_refused_and_stays(tmp_path):
    rows = tmp_path / "rows.csv"
    for text in ("my own work\n", "name,latitude\n", "time,charge_percent,\n"):
        rows.write_text(text)
        with pytest.raises(PlanError, match="written not by energy many"):
            many(by_pack, plans(2), Here(), rows)
        assert rows.read_text() == text


@pytest.mark.parametrize("line", [b"\xff,1,2,,,,,,,\n", b'"open,1\n', b"a\n", b"\n"])
def test_a_spoilt_line_is_told_by_its_number(tmp_path, whole, line):
    rows = tmp_path / "rows.csv"
    lines = whole.splitlines(keepends=True)
    rows.write_bytes(b"".join([*lines[:3], line, *lines[4:]]))
    with pytest.raises(PlanError, match=r"rows.csv: line 4 "):
        many(refused_from, plans(7), Here(), rows)


def test_names_of_any_letters_come_back(tmp_path):
    odd = ['a, "b"', "=1+1", "漢字", "two\nlines", "\x1b[2J", ""]
    named = [(name, BASE) for name in odd]
    many(by_pack, named, Here(), tmp_path / "rows.csv")
    again = many(by_pack, named, Here(), tmp_path / "rows.csv")
    assert again.rows == many(by_pack, named, Here()).rows


SUN = "time,ghi,temp_air\n" + "".join(f"2026-06-01T{k:02}:00:00Z,{k},9\n" for k in range(24))


def test_a_row_is_known_by_its_files_content_and_not_by_where_they_lie(tmp_path):
    text = 'weather = { kind = "file", file = "sun.csv" }\n' + SMALL
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "plan.toml").write_text(text)
        (tmp_path / folder / "sun.csv").write_text(SUN)
    rows = tmp_path / "rows.csv"

    def ask(folder):
        many(by_pack, [Plan.read(tmp_path / folder / "plan.toml")], Here(), rows)

    ask("a")
    (tmp_path / "b" / "plan.toml").write_text("# a remark\n" + text)
    ask("b")
    (tmp_path / "b" / "sun.csv").write_text(SUN.replace(",9\n", ",8\n"))
    with pytest.raises(PlanError, match="line 2"):
        ask("b")


SMALL = """
place = { latitude_deg = 46.5, longitude_deg = 8.0, timezone = "Europe/Zurich" }
span = { start = 2026-06-01T08:00:00, end = 2026-06-01T20:00:00 }
pack = { capacity_wh = 200 }
task = [{ name = "lamp", supply = "dc12", working_w = 9, hours = 3 }]
"""


def test_a_row_is_known_by_the_weather_that_was_fetched(tmp_path, monkeypatch):
    held = tmp_path / "history.npz"
    module = "energy.answers.many.fingerprint.file_near"
    monkeypatch.setattr(module, lambda *_: held if held.exists() else None)
    plan = BASE.replace(**{"weather.kind": "history"})
    for content in (None, b"old", b"new"):
        if content is not None:
            held.write_bytes(content)
            with pytest.raises(PlanError, match="line 2"):
                many(by_pack, [plan], Here(), tmp_path / "rows.csv")
        many(by_pack, [plan], Here(), tmp_path / "rows.csv", force=True)


def test_a_row_of_a_forecast_is_known_by_the_history_that_may_carry_on(tmp_path, monkeypatch):
    history = tmp_path / "history.npz"
    held = {"forecast": tmp_path / "forecast.npz", "history": history}
    module = "energy.answers.many.fingerprint.file_near"
    monkeypatch.setattr(module, lambda kind, *_: held[kind] if held[kind].exists() else None)
    held["forecast"].write_bytes(b"ten days")
    plan, rows = BASE.replace(**{"weather.kind": "forecast"}), tmp_path / "rows.csv"
    many(by_pack, [plan], Here(), rows)
    history.write_bytes(b"ten years")
    with pytest.raises(PlanError, match="line 2"):
        many(by_pack, [plan], Here(), rows)


def test_no_memory_is_kept_of_rows_in_a_file(tmp_path):
    answer = many(by_pack, plans(3), Here(), tmp_path / "rows.csv")
    assert answer.kept == ()
    assert answer.table()["name"].tolist() == ["plan 0", "plan 1", "plan 2"]
    assert answer.as_dict()["rows"][0] == many(by_pack, plans(1), Here()).as_dict()["rows"][0]


def test_other_words_of_an_answer_are_counted_too():
    def question(_):
        return SimpleNamespace(answer="perhaps")

    assert many(question, plans(2), Here()).counts["perhaps"] == 2
