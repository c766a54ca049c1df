"""Which day should it be: today, or wait? In which weeks of the year does the job work at all?

The plan is asked for one start day after another, as `energy check --date` would, in the same
scenarios. What the hardest month would need is found in `dullest`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any

from energy.answers.when.seasons import Season, seasons
from energy.plan import Plan, PlanError, require_plan
from energy.simulation.answered import Answered
from energy.simulation.budget import Budget
from energy.simulation.case import calendar_of
from energy.simulation.start_days import budgets_on
from energy.simulation.success import Chance
from energy.simulation.work import MOST_CELLS, cells_of
from energy.weather.fetched.cache import Forecast
from energy.weather.fetched.forecast import reaches_s
from energy.weather.scenarios import rests_on
from energy.weather.source import NotCovered, Source, record_of

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from energy.answers.caution.cautions import Caution

AHEAD = 14  # start days, where the weather is no forecast
YEAR_DAYS, YEAR_STEP = 365, 5
MOST_STARTS = 366
WORDS = ("no", "almost", "yes")


@dataclass(frozen=True)
class StartDay:
    """How the plan fares if it starts on a day.

    answer: yes, almost or no. worked, tried: in how many of how many weathers it works, where the
    place is only roughly known at the low end of that doubt. lowest_percent: the lowest charge in
    the middle weather; floor_percent: what should be left then, the reserve and what the cold holds
    back; dull_tenth_percent: what nine in ten weathers stay above; margin_percent: how far the
    weather that decides stays above the reserve; unmet_wh: the mean of what goes short [Wh].
    rests_on: the kind of weather. not_asked: tasks of which nothing is asked on this start, such as
    light for an evening without dusk. why: what keeps the plan from being laid out on this day, or
    its work from daylight; it has no figures then. Empty elsewhere.
    """

    start: date
    answer: str
    rests_on: str
    chance: Chance | None = None
    worked: int = 0
    tried: int = 0
    lowest_percent: float | None = None
    floor_percent: float | None = None
    dull_tenth_percent: float | None = None
    margin_percent: float = -100.0
    unmet_wh: float = float("inf")
    not_asked: tuple[str, ...] = ()
    why: str = ""

    @property
    def yes(self) -> bool:
        """Whether the answer is yes."""
        return self.answer == "yes"

    @property
    def rank(self) -> tuple[float, ...]:
        """Days are compared by this, the better the higher: by their answer, then in how many
        weathers it works, how much charge is left, and how little goes short."""
        share = -1.0 if self.chance is None else self.worked / self.tried
        return WORDS.index(self.answer), share, round(self.margin_percent, 6), -self.unmet_wh

    def as_dict(self) -> dict[str, Any]:
        """The day as `--json` prints it."""
        lowest, dull = self.lowest_percent, self.dull_tenth_percent
        return {
            "start": self.start.isoformat(),
            "answer": self.answer,
            "chance": None if self.chance is None else self.chance.as_dict(),
            "lowest_percent": None if lowest is None else round(lowest, 1),
            "dull_tenth_percent": None if dull is None else round(dull, 1),
            "rests_on": self.rests_on,
            "why": self.why or None,
        }


@dataclass(frozen=True)
class When(Answered):
    """How a plan fares on some start days, ascending.

    plan: as it was asked. budget: that of the best day, whose answer is the answer. step: days from
    one start to the next. left_out: how many days the weather does not reach.
    """

    plan: Plan = field(repr=False)
    budget: Budget = field(repr=False)
    days: tuple[StartDay, ...]
    step: int
    left_out: int = 0

    @cached_property
    def first_yes(self) -> StartDay | None:
        """The first day that is a yes, or None."""
        return next((day for day in self.days if day.yes), None)

    @cached_property
    def best(self) -> StartDay:
        """The best day; of equals the first."""
        return max(self.days, key=lambda day: day.rank)

    @cached_property
    def worst(self) -> StartDay:
        """The worst day; of equals the first."""
        return min(self.days, key=lambda day: day.rank)

    @property
    def whole_year(self) -> bool:
        """Whether the days go round the year, so that the last is followed by the first."""
        last, first = self.days[-1].start, self.days[0].start
        return (last - first).days + self.step >= YEAR_DAYS

    @cached_property
    def seasons(self) -> tuple[Season, ...]:
        """The parts of the year in which a start is a yes; none where no whole year was asked."""
        if not self.whole_year:
            return ()
        return seasons([(day.start, day.yes) for day in self.days])

    @property
    def cold_counts(self) -> bool:
        """Whether on some day the cold holds a part of the pack's charge back."""
        reserve = self.plan.pack.reserve_percent
        return any((day.floor_percent or 0.0) > reserve + 0.5 for day in self.days)

    def as_dict(self) -> dict[str, Any]:
        """The stable answer that `--json` prints."""
        return {
            "title": self.plan.title,
            "answer": self.answer,
            "days": [day.as_dict() for day in self.days],
            "first_yes": None if self.first_yes is None else self.first_yes.start.isoformat(),
            "best": self.best.start.isoformat(),
            "worst": self.worst.start.isoformat(),
            "seasons": [season.as_dict() for season in self.seasons],
        }

    def _repr_html_(self) -> str:
        return str(self.table().to_html())

    def table(self) -> "pd.DataFrame":
        """One row a start day: answer, chance [percent], lowest charge in the middle weather and in
        the dull tenth [percent], and what it rests on."""
        import pandas as pd

        rows = [
            {
                "start": pd.Timestamp(day.start),
                "answer": day.answer,
                "chance_percent": None if day.chance is None else day.chance.percent,
                "lowest_percent": day.lowest_percent,
                "dull_tenth_percent": day.dull_tenth_percent,
                "rests_on": day.rests_on,
            }
            for day in self.days
        ]
        return pd.DataFrame(rows).set_index("start")

    def plot(self, cautions: "Sequence[Caution]" = ()) -> "Figure":
        """The days as strips of months, and the lowest charge over them: a matplotlib figure."""
        from energy.answers.when import picture  # a result shows itself when asked

        return picture.strips(self, cautions)


def when(
    plan: Plan,
    start: date | None = None,
    end: date | None = None,
    step: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> When:
    """Ask a plan for one start day after another, in the same scenarios.

    plan: what is asked; it keeps its clock times.
    start: the first start day; left out: the plan's own.
    end: the last; left out: as many days as a forecast knows, else 14. Days that the weather does
        not reach are then left out.
    step: days from one start to the next.
    progress: is told how many days were asked, of how many.

    Raises PlanError as `budget` does, for more days than may be asked, and for days that the
    weather does not reach.

    >>> answer = when(Plan.read("builtin:cloudy-repair"))
    >>> answer.answer, len(answer.days)
    ('yes', 14)
    >>> str(answer.first_yes.start), str(answer.best.start)
    ('2026-09-15', '2026-09-16')
    """
    require_plan(plan)
    record = record_of(plan)
    first = start or plan.span.start.date()
    starts = _starts(plan, record, first, end, step)
    days: list[StartDay] = []
    problems: list[PlanError] = []
    best: tuple[StartDay, Budget] | None = None
    for number, (day, result) in enumerate(budgets_on(plan, starts, record)):
        if progress is not None:
            progress(number, len(starts))
        if isinstance(result, PlanError):
            problems.append(result)
            if not isinstance(result, NotCovered):
                why = result.problems[0]
                days.append(StartDay(day, "no", plan.weather.kind, why=why))
            elif end is not None:
                raise result
            continue
        if best is None:
            _check_affordable(result, len(starts))
        days.append(_judged(day, result))
        if best is None or days[-1].rank > best[0].rank:
            best = days[-1], result
    if best is None:
        raise problems[0]
    return When(plan, best[1], tuple(days), step, len(starts) - len(days))


def _judged(start: date, result: Budget) -> StartDay:
    deciding, lowest = result.low_end, result.lowest()
    return StartDay(
        start=start,
        answer=result.answer,
        rests_on=rests_on(result.days),
        chance=result.chance,
        worked=int(deciding.success.sum()),
        tried=deciding.success.size,
        lowest_percent=lowest.percent,
        floor_percent=min(
            result.plan.pack.reserve_percent + lowest.cold_unavailable_percent, 100.0
        ),
        dull_tenth_percent=result.dull_tenth_percent,
        margin_percent=result.margin_percent,
        unmet_wh=float(result.unmet_wh.sum(axis=0).mean()),
        not_asked=tuple(
            task.name
            for task, wh in zip(result.plan.task, result.asked_wh, strict=True)
            if wh == 0.0
        ),
    )


def _starts(plan: Plan, record: Source, first: date, end: date | None, step: int) -> list[date]:
    """The start days that are asked. Raises PlanError."""
    if step < 1:
        raise PlanError([f"the step must be at least 1 day (got {step})"])
    last = first + timedelta(AHEAD - 1) if end is None else end
    if isinstance(record, Forecast):
        reach = calendar_of(plan).moment(reaches_s(record) - 1.0).date()
        if end is None:
            last = max(reach, first)
        elif end > reach:
            raise NotCovered(
                [
                    f"{plan.origin}: [weather]: the forecast held ends on {reach}: no start after"
                    f" that can be asked (got {last}); --set weather.kind=climate asks how such"
                    " days usually are"
                ]
            )
    if last < first:
        raise PlanError([f"the first start day, {first}, must not lie after the last, {last}"])
    count = (last - first).days // step + 1
    if count > MOST_STARTS:
        raise PlanError(
            [
                f"{first} to {last} are {count:,} start days; at most {MOST_STARTS} can be asked"
                " at once: give a nearer --to, or --year"
            ]
        )
    return [first + timedelta(step * k) for k in range(count)]


def _check_affordable(result: Budget, starts: int) -> None:
    """Raise PlanError where so many days would take too long."""
    most = max(int(MOST_CELLS / cells_of(result)), 1)
    if starts > most:
        raise PlanError(
            [
                f"{result.plan.origin}: {starts} start days of {result.time_s.size - 1:,} moments"
                f" in {result.success.size:,} weathers are more than can be simulated: at most"
                f" {most}, or give fewer futures in [weather]"
            ]
        )
