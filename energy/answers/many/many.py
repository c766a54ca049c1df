"""The same question asked of many plans: the answer of `energy many`.

Who answers is for `asking` and `processes`, how rows are kept in a file for `rows_file`, what is
read of places and folders for `places`.
"""

import pickle
import sys
from collections import Counter
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence, Sized
from concurrent.futures import Executor
from contextlib import closing
from dataclasses import asdict, dataclass, field
from functools import partial
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

from energy.answers.many.asking import Named, Workers, in_order
from energy.answers.many.fingerprint import asked_function, fingerprint, question_name
from energy.answers.many.processes import cores, one_thread_each, processes
from energy.answers.many.row import COLUMNS, KINDS, LONGEST_NAME, PROBLEM, Question, Row
from energy.answers.many.rows_file import RowsFile, rows_in
from energy.plan import Plan, PlanError, require_plan
from energy.plan.words import one_line
from energy.show.files import held_alone

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

AHEAD = 16  # plans under way for each process, so that none waits for a slow one
AHEAD_ELSEWHERE = 256  # for an executor whose workers are not counted here

Progress = Callable[[int, int | None], None]


@dataclass(frozen=True)
class Many:
    """What many plans are told, a row each.

    question: what was asked, by its name.
    counts: how many rows are a yes, almost, no, or a problem.
    complete: whether all were asked; an interrupt leaves what is there.
    total: how many plans were given; None where that was not known.
    file: where the rows are, if not in memory.
    """

    question: str
    counts: dict[str, int]
    complete: bool
    total: int | None = None
    file: Path | None = None
    kept: tuple[Row, ...] = field(default=(), repr=False)

    @property
    def rows(self) -> tuple[Row, ...]:
        """A row for each plan, in the order given."""
        return self.kept if self.file is None else tuple(rows_in(self.file))

    @property
    def plans(self) -> int:
        """How many plans have their row."""
        return sum(self.counts.values())

    @property
    def problems(self) -> int:
        """How many rows are a problem instead of an answer."""
        return self.counts[PROBLEM]

    @property
    def warnings(self) -> Counter[str]:
        """How many rows have each warning."""
        return Counter(row.warning for row in self.rows if row.warning)

    def as_dict(self) -> dict[str, Any]:
        """The rows and how many there are of each kind, as `--json` prints them."""
        return {
            "question": self.question,
            "complete": self.complete,
            "counts": self.counts,
            "rows": [asdict(row) for row in self.rows],
        }

    def _repr_html_(self) -> str:
        return str(self.table().to_html())

    def table(self) -> "pd.DataFrame":
        """One row a plan, in the order given: name, latitude, longitude [degrees], answer, chance,
        low, high, lowest [percent], error, warning and why; NaN or None for what is not said."""
        import pandas as pd

        return pd.DataFrame([asdict(row) for row in self.rows], columns=list(COLUMNS))

    def plot(self, title: str = "", notes: Sequence[str] = ()) -> "Figure":
        """The answers as marks on a map: a matplotlib figure, with remarks (without full stops)."""
        from energy.answers.many.picture import answers_map

        return answers_map(self, title, notes)


def many(
    question: Question,
    plans: Iterable[Plan | Named],
    executor: Executor | int | None = None,
    to: Path | str | None = None,
    *,
    ahead: int | None = None,
    progress: Progress | None = None,
    force: bool = False,
) -> Many:
    """Ask many plans the same question, side by side.

    question: a function of a plan, such as `check`, `choose` or `size`; with further arguments as a
        `functools.partial`. Of its answer the row keeps `answer`, `chance` and `lowest`, of one
        that rests on a budget the budget's, and "yes" or "no" where it only has `yes`; what it
        lacks stays empty. Processes find it by its name: it stands in a module.
    plans: any iterable, read as far ahead as there is work; each a Plan, or a pair of a name and a
        Plan, or of a name and the PlanError that says why there is none.
    executor: any `concurrent.futures.Executor`, one that leads to a cluster too; it is left open. A
        number: so many processes of this machine; left out: one a core.
    to: a CSV file that takes each row as soon as all before it are there, and keeps none in memory.
        Rows that it holds are not asked again: a row is recognised by its place and by a
        fingerprint of question, plan, and the files and fetched weather that the plan rests on.
    ahead: how many plans are under way at most; left out: 16 a process, 256 in an executor.
    progress: is told how many rows are there, of how many; None where that is not known.
    force: begin the file anew, whatever it holds.

    A plan that fails is a row with its error. Where a worker dies, the plans that it had are asked
    once more, and broken processes are made anew. An interrupt (Ctrl-C) returns what is there.

    Raises PlanError where the file cannot be written, or holds other rows (it is then as it was);
    TypeError for what is no plan, and for a question that is no function or that processes cannot
    find; RuntimeError where no process starts;
    BrokenExecutor where an executor that was handed in takes no more plans, or loses five in a row.

    >>> from concurrent.futures import ThreadPoolExecutor
    >>> from energy.answers.check.check import check
    >>> demo = Plan.read("builtin:cloudy-repair")
    >>> larger = demo.replace(**{"pack.capacity_wh": 3000})
    >>> with ThreadPoolExecutor(1) as here:
    ...     many(check, [demo, larger], here).table()["answer"].tolist()
    ['almost', 'yes']
    """
    _refuse_what_cannot_be_asked(question, plans)
    asking = _asking(question, executor, ahead)
    total = len(plans) if isinstance(plans, Sized) else None
    counts: Counter[str] = Counter(dict.fromkeys(KINDS, 0))
    kept, complete, path = [], False, None if to is None else Path(to)
    with held_alone(path):
        file = None if path is None else RowsFile(path, force=force)
        try:
            with closing(asking.rows(map(_named, plans), file)) as rows:
                for row in rows:
                    counts[row.kind] += 1
                    if file is None:
                        kept.append(row)
                    if progress is not None:
                        progress(counts.total(), total)
            complete = True
        except KeyboardInterrupt:
            pass
    return Many(question_name(question), dict(counts), complete, total, path, tuple(kept))


def _asking(question: Question, executor: Executor | int | None, ahead: int | None) -> "_Asking":
    """What asks: the executor that was handed in, or processes of this machine."""
    if isinstance(executor, Executor):
        there = executor
        workers = partial(Workers, question, lambda: there, again=False)
        return _Asking(question, workers, ahead or AHEAD_ELSEWHERE)
    _refuse_what_is_not_found(question)
    workers = partial(Workers, question, partial(processes, executor), again=True)
    return _Asking(question, workers, ahead or AHEAD * (executor or cores()))


@dataclass(frozen=True)
class _Asking:
    """A question, what makes its workers, and how many plans are under way at most."""

    question: Question
    workers: Callable[[], Workers]
    ahead: int

    def rows(self, plans: Iterator[Named], file: RowsFile | None) -> Generator[Row, None, None]:
        """The rows that the file holds, then the others, each added to it. No worker starts where
        nothing is left to ask."""
        first: list[Named] = []
        for named in plans:
            row = None if file is None else file.kept(fingerprint(self.question, *named))
            if row is None:
                first.append(named)
                break
            yield row
        if not first:
            if file is not None:
                file.refuse_more()
            return
        with one_thread_each():
            workers, done = self.workers(), False
            try:
                for named, row in in_order(chain(first, plans), workers, self.ahead):
                    if file is not None:
                        file.add(row, fingerprint(self.question, *named))
                    yield row
                done = True
            finally:
                workers.leave(done=done)


def _named(plan: Any) -> Named:
    """A plan by its name: the one given, else its title or its file's. Raises TypeError for what is
    none."""
    name, given = plan if isinstance(plan, tuple) and len(plan) == 2 else (None, plan)
    if name is None or not isinstance(given, PlanError):
        require_plan(given)
    return one_line(given.name if name is None else str(name), LONGEST_NAME), given


def _refuse_what_cannot_be_asked(question: Any, plans: Any) -> None:
    """Raise TypeError for a question that is no function, and for plans that are not several."""
    if not callable(question):
        got = type(question).__name__
        raise TypeError(f"the question must be a function of a plan (got {got})")
    if isinstance(plans, Plan | str | Mapping) or not isinstance(plans, Iterable):
        got = type(plans).__name__
        raise TypeError(f"plans must be a list or another iterable of them (got {got})")


def _refuse_what_is_not_found(question: Question) -> None:
    """Raise TypeError for a question that a process started anew cannot find by its name."""
    typed_in = not hasattr(sys.modules["__main__"], "__file__")
    try:
        pickle.dumps(question)
        lost = typed_in and asked_function(question).__module__ == "__main__"
    except (pickle.PicklingError, AttributeError, TypeError):
        lost = True
    if lost:
        name = question_name(question)
        raise TypeError(f"{name}: worker processes find a function in a module alone; put it there")
