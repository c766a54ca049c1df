"""Plans given to workers, and their rows back in order, whatever becomes of the workers.

So many plans are under way at most, and a row is passed on as soon as all before it are: memory
does not grow with the number of plans.
"""

from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future

from energy.answers.many.processes import Processes
from energy.answers.many.row import Question, Row, row_of
from energy.plan import Plan, PlanError
from energy.plan.words import LONGEST_LINE, one_line

MOST_LOST = 5

Named = tuple[str, Plan | PlanError]  # a plan by its name, or why there is none
Asked = tuple[Named, "Future[Row] | None"]  # None: to be asked again, alone


class Workers:
    """Those who answer a question: an executor, and what makes another where it breaks; and how
    many plans an executor that was handed in has `lost` in a row."""

    def __init__(self, question: Question, make: Callable[[], Executor], *, again: bool):
        """again: whether another may be made; one that was handed in stays what it is."""
        self._question, self._make, self._again = question, make, again
        self._executor = make()
        self.lost = 0

    def ask(self, named: Named) -> "Future[Row]":
        """Give a plan to a worker."""
        name, plan = named
        answered: Future[Row] = Future()
        try:
            if not isinstance(plan, PlanError):
                return self._executor.submit(row_of, self._question, name, plan)
            answered.set_result(Row(name, error=one_line("; ".join(plan.problems), LONGEST_LINE)))
        except BrokenExecutor as error:
            answered.set_exception(error)
        return answered

    def renew(self) -> None:
        """Another executor in place of the broken one. Raises BrokenExecutor where none may be
        made."""
        if not self._again:
            raise BrokenExecutor("the executor that was handed in is broken")
        self.leave(done=False)
        self._executor = self._make()

    def second(self, named: Named) -> Row:
        """Ask a plan once more; its row is a problem where its worker is lost again. Raises
        BrokenExecutor where an executor that was handed in has lost so many in a row."""
        try:
            row = self.ask(named).result()
            self.lost = 0
            return row
        except Exception as error:
            why = f"its worker was lost twice ({type(error).__name__}: {error})"
            if isinstance(error, BrokenExecutor):
                self.renew()
        if not self._again:
            self.lost += 1
        if self.lost == MOST_LOST:
            raise BrokenExecutor(f"the executor loses one plan after another: {why}")
        name, plan = named
        assert isinstance(plan, Plan)
        place = plan.place
        return Row(name, place.latitude_deg, place.longitude_deg, error=one_line(why, LONGEST_LINE))

    def leave(self, *, done: bool) -> None:
        """Let go of an executor of one's own; at once where not all is done."""
        if self._again and not done and isinstance(self._executor, Processes):
            self._executor.stop()
        elif self._again:
            self._executor.shutdown(cancel_futures=True)


def in_order(plans: Iterator[Named], workers: Workers, most: int) -> Iterator[tuple[Named, Row]]:
    """Each plan with its row, in the order given, with at most so many under way.

    What was under way when a worker died is asked again once, a plan at a time, so that the plan
    that workers die of costs no other its row. What is still under way when the caller stops is
    cancelled.
    """
    waiting: deque[Asked] = deque()
    unsure: list[tuple[Named, Row]] = []  # of plans that were lost, until another has its row
    try:
        while True:
            while len(waiting) < most and all(future is not None for _, future in waiting):
                if (named := next(plans, None)) is None:
                    break
                waiting.append((named, workers.ask(named)))
            if not waiting:
                yield from unsure
                return
            named, future = waiting.popleft()
            try:
                row = workers.second(named) if future is None else future.result()
            except BrokenExecutor:
                workers.renew()
                waiting.appendleft((named, None))
                waiting = deque((each, _left(asked)) for each, asked in waiting)
                continue
            except Exception:  # of the engine: what goes wrong with a plan is in its row
                row = workers.second(named)
            else:
                if isinstance(named[1], Plan):  # else no worker was asked
                    workers.lost = 0
            unsure.append((named, row))
            if not workers.lost:
                yield from unsure
                unsure.clear()
    finally:
        for _, future in waiting:
            if future is not None:
                future.cancel()


def _left(future: "Future[Row] | None") -> "Future[Row] | None":
    """What is left of a future when workers have died: itself where its row is there."""
    if future is None or not future.done() or future.cancelled():
        return None
    return future if future.exception() is None else None
