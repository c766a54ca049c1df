"""Synthetic weather: days drawn by chance from twelve means (the climate table's, or a person's sun
hours), or about a stated sky.

The steps of the generator are in `generator`, the table in `climate`; here they meet a plan's days.
"""

from collections.abc import Sequence

import numpy as np
import pvlib
from scipy.special import ndtr

from energy.model import Array, Index
from energy.plan import Plan, PlanError
from energy.plan.places import at_sea
from energy.plan.schema import Weather
from energy.weather.days import Days
from energy.weather.hours import hours_to_cells, interval_means
from energy.weather.record import DAY_S, HOUR_S
from energy.weather.synthetic.climate import UNTRIED_SOUTH, clearness_at, day_spread_at, derate_at
from energy.weather.synthetic.generator import (
    DAY_TO_DAY,
    HOUR_TO_HOUR,
    between_months,
    daily_clearness,
    highest_clearness,
    hourly_clearness,
    how_alike,
    month_knots,
    noons,
    normal_scores,
)
from energy.weather.synthetic.sky import (
    air_range,
    daily_transmission,
    okta_by_date,
    sky_in_words,
    stated_air,
)
from energy.weather.weathers import (
    Air,
    Weathers,
    check_affordable,
    scenarios_at_the_ends,
    split_light,
)

FROM_MEANS = ("climate", "monthly")
SCENARIOS = 200
PLACE_SIGMA = 0.14  # the doubt about one place (a fit)
# Twelve given figures: 13 % at the 5 and 95 % points, which stand for all that is not known of the
# days: the means, their spread, their dull runs (a fit to the records of `generator`).
FIGURES_SIGMA = 0.13 / 1.645
CLEAREST_MONTH = 0.85  # no month's mean of clearness is higher, deserts on heights included
# Of a clear sky's light: 1.06 is the most that a month of the measured records had, 1.12 the most
# in the climate table's deserts, undiminished. Not asked of days with less than LITTLE_LIGHT_WH.
OVER_CLEAR_MONTH, LITTLE_LIGHT_WH = 1.2, 1000.0
MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
DIM_MONTH_WH = 200.0  # a day above the air: the last digit of a sun-hour figure is half of it


def is_synthetic(weather: Weather) -> bool:
    """Whether weather is drawn by chance: from means, or about a sky in more than one scenario."""
    return weather.kind in FROM_MEANS or (weather.kind == "sky" and weather.futures != 1)


def solar_clock_offset_s(longitude: float) -> float:
    """Whole hours that the sun's clock is ahead of UTC, in seconds.

    >>> solar_clock_offset_s(-160.5)
    -39600.0
    """
    return round(longitude / 15.0) * HOUR_S


def synthetic(days: Days, doubts: Sequence[float], segments: int = 0) -> list[Weathers]:
    """Synthetic weather; the cells of the days must cover whole solar days.

    First as it is drawn, then with the means at each point of `doubts` [standard deviations],
    there in the default number of scenarios (fewer would tell little of them, more nothing new),
    but for a long span. segments: into how many the days will be cut. Raises PlanError for more
    than can be simulated.
    """
    hours = _Hours(days)
    scenarios = days.plan.weather.futures or SCENARIOS
    check_affordable(days.plan, segments, scenarios)
    several = [_weather(days, hours, scenarios, None)]
    if days.plan.weather.kind in FROM_MEANS:
        at_the_ends = scenarios_at_the_ends(segments, SCENARIOS)
        several += [_weather(days, hours, at_the_ends, doubt) for doubt in doubts]
    return several


class _Hours:
    """The hours of the solar days that the cells cover.

    starts [UTC s], the number of the day, the sine of the sun's height, and light above the air
    and under a clear sky [W/m2], each (hours,); dates, noon_s, light_wh above the air [Wh/m2] and
    clear_day, the clearness of a clear sky, of each day, (days,).
    """

    def __init__(self, days: Days):
        cells, sun = days.cells, days.sun
        offset_s = solar_clock_offset_s(days.plan.place.longitude_deg)
        self.starts = np.arange(cells[0], cells[-1] - 1.0, HOUR_S)
        number = np.floor((self.starts + HOUR_S / 2.0 + offset_s) / DAY_S)
        self.day = (number - number[0]).astype(np.intp)
        count = int(self.day[-1]) + 1
        self.dates = (number[0] + np.arange(count)).astype("datetime64[D]")
        self.noon_s = (number[0] + np.arange(count) + 0.5) * DAY_S - offset_s
        up = np.maximum(np.cos(np.radians(sun.zenith)), 0.0)
        self.height = interval_means(up, cells, self.starts, HOUR_S)
        self.light = interval_means(sun.dni_extra * up, cells, self.starts, HOUR_S)
        self.clear = interval_means(sun.ghi, cells, self.starts, HOUR_S)
        self.light_wh = np.bincount(self.day, self.light).astype(float)
        self.clear_day = np.bincount(self.day, self.clear) / np.maximum(self.light_wh, 1.0)


def _weather(days: Days, hours: _Hours, scenarios: int, doubt: float | None) -> Weathers:
    """Synthetic weather, its means at one point of the doubt about them where one is given."""
    plan, light = days.plan, hours.light
    clearness = _daily(days, hours, scenarios, doubt)
    clear_kt = np.where(light > 1.0, hours.clear / np.maximum(light, 1.0), 0.0)
    scores = normal_scores(plan.weather.seed, "hours", light.size, scenarios, HOUR_TO_HOUR)
    kt = hourly_clearness(clearness, hours.day, hours.height, light, clear_kt, scores)
    target = kt * light[:, None]  # held to what a clear sky leaves room for: no limit again
    ghi = hours_to_cells(target, np.inf, days.cells, days.lit, days.sun.ghi, hours.starts, HOUR_S)
    cell_day = hours.day[np.searchsorted(hours.starts, days.cells[:-1], side="right") - 1]
    source, sharpen = _words(plan)
    return Weathers(
        light=split_light(days, ghi),
        air=Air(
            temp_air=_temp_air(days, clearness, cell_day),
            wind_speed=np.full((days.lit.size, 1), plan.weather.wind_speed_m_s),
            stated=plan.weather.temp_air_c is not None,
        ),
        source=source,
        sharpen=sharpen,
        shift_days=np.zeros(scenarios),
        effective_sample_size=None,
        mean_uncertain=plan.weather.kind == "climate",
    )


def _daily(days: Days, hours: _Hours, scenarios: int, doubt: float | None) -> Array:
    """Clearness of the days, (days, scenarios): about a stated sky, or about the month's mean."""
    plan, weather = days.plan, days.plan.weather
    chance = ndtr(normal_scores(weather.seed, "days", hours.dates.size, scenarios, DAY_TO_DAY))
    if weather.kind == "sky":
        assert weather.sky is not None
        okta = okta_by_date(weather.sky, days.calendar, hours.noon_s)
        return np.asarray(hours.clear_day[:, None] * daily_transmission(okta[:, None], chance))
    months = between_months(noons(hours.dates))
    means = months @ _knots(plan)
    if weather.kind == "monthly":
        _refuse_over_clear(plan, hours, means)
    highest = highest_clearness(means, hours.clear_day, hours.light_wh)
    doubtful = means[:, None] * _doubt(plan, scenarios, doubt)
    spread = months @ day_spread_at(plan.place.latitude_deg, plan.place.longitude_deg)
    alike = how_alike(means, highest, spread)
    return daily_clearness(doubtful, highest[:, None], alike[:, None], chance)


def _words(plan: Plan) -> tuple[str, str]:
    """What the weather rests on, and what would tell more."""
    if plan.weather.kind == "sky":
        assert plan.weather.sky is not None
        return (
            f"{sky_in_words(plan.weather.sky)}, days drawn around it",
            "a weather file of the place: a stated sky says nothing of how likely it is",
        )
    if plan.weather.kind == "monthly":
        return (
            "twelve sun-hour figures, days drawn by chance",
            "a weather file of measured years",
        )
    south = f"; {UNTRIED_SOUTH}" * (plan.place.latitude_deg < 0)
    return (
        f"the built-in climate table, rough{south}",
        'twelve sun-hour figures of the place (kind = "monthly"), or fetched history',
    )


def _knots(plan: Plan) -> Array:
    """Mid-month clearness, (12,), from the table or from the plan's sun hours."""
    place = plan.place
    # In days of UTC. A whole day on, not half a day, the series for the sun's declination gives
    # monthly means within 0.2 % of those by the precise position over 2011 to 2015.
    sun_noon = np.arange(1.0, 366.0) + 1.0 - place.longitude_deg / 360.0
    flat_wh = extraterrestrial_day_wh(place.latitude_deg, sun_noon)
    if plan.weather.kind == "climate":
        try:
            means = clearness_at(place.latitude_deg, place.longitude_deg)
            means = derate_at(place.latitude_deg, place.longitude_deg) * means
        except PlanError as error:
            asked_back = at_sea(place.latitude_deg, place.longitude_deg, afloat=True)
            lines = [*error.problems, *filter(None, [asked_back])]
            raise PlanError([f"{plan.origin}: {line}" for line in lines]) from None
    else:
        dates = np.arange("2026-01-01", "2027-01-01", dtype="datetime64[D]")
        month = dates.astype("datetime64[M]").astype(int) % 12
        mean_wh = np.bincount(month, flat_wh) / np.bincount(month)
        given_wh = 1000.0 * np.array(plan.weather.sun_hours)
        _refuse_too_bright(plan, given_wh, mean_wh)
        means = _clearness_of_months(given_wh, mean_wh)
    return month_knots(np.clip(means, 0.06, CLEAREST_MONTH))


def _clearness_of_months(given_wh: Array, above_air_wh: Array) -> Array:
    """Mean clearness of the months, (12,), from their light at the ground and above the air [Wh/m2
    a day]. Months about a polar night are as clear as those before and after them.

    >>> given_wh, above_air_wh = np.full(12, 500.0), np.full(12, 1000.0)
    >>> given_wh[10:], above_air_wh[10:] = (100.0, 0.0), (120.0, 0.0)
    >>> _clearness_of_months(given_wh, above_air_wh).tolist() == [0.5] * 12
    True
    """
    tells = above_air_wh >= DIM_MONTH_WH
    clearness = given_wh / np.maximum(above_air_wh, DIM_MONTH_WH)
    return np.interp(np.arange(12), np.flatnonzero(tells), clearness[tells], period=12)


def _refuse_too_bright(plan: Plan, given_wh: Array, above_air_wh: Array) -> None:
    """Raise PlanError for months whose sun hours no month has had under that much light."""
    problems = [
        f"{plan.origin}: [weather]: sun_hours: {month} has {given_wh[k] / 1000.0:g} kWh/m2 a day,"
        f" and at {plan.place.latitude_deg:g} degrees at most {most / 1000.0:.1f} reach the ground;"
        " give January to December of this place, on the flat"
        for k, month in enumerate(MONTHS)
        if given_wh[k] > (most := max(CLEAREST_MONTH * above_air_wh[k], 100.0))
    ]
    if problems:
        raise PlanError(problems)


def _refuse_over_clear(plan: Plan, hours: _Hours, means: Array) -> None:
    """Raise PlanError where the sun hours of one of the days are more than any month has had under
    its clear sky: those of a slope are, in winter."""
    over = (means > OVER_CLEAR_MONTH * hours.clear_day) & (hours.light_wh > LITTLE_LIGHT_WH)
    if not over.any():
        return
    assert plan.weather.sun_hours is not None
    day = int(over.argmax())
    month = int(hours.dates[day].astype("datetime64[M]").astype(int)) % 12
    clear_kwh = hours.clear_day[day] * hours.light_wh[day] / 1000.0
    raise PlanError(
        [
            f"{plan.origin}: [weather]: sun_hours: {MONTHS[month]} has"
            f" {plan.weather.sun_hours[month]:g} kWh/m2 a day, and a clear sky leaves"
            f" {clear_kwh:.1f} on {hours.dates[day]}; give January to December of this place, on"
            " the flat, not on a slope"
        ]
    )


def extraterrestrial_day_wh(latitude: float, day_of_year: Array) -> Array:
    """Light on the flat above the air in a day [Wh/m2], the daily integral in closed form.

    Duffie & Beckman, Solar Engineering of Thermal Processes, eq. 1.10.3.

    >>> (extraterrestrial_day_wh(43.0, np.array([105.0])) * 0.0036).round(1)
    array([33.8])
    """
    declination = pvlib.solarposition.declination_spencer71(day_of_year)
    here = np.radians(latitude)
    sunset = np.arccos(np.clip(-np.tan(here) * np.tan(declination), -1.0, 1.0))
    level = np.cos(here) * np.cos(declination) * np.sin(sunset)
    level = level + sunset * np.sin(here) * np.sin(declination)
    extra = np.asarray(pvlib.irradiance.get_extra_radiation(day_of_year))
    return np.asarray(24.0 / np.pi * extra * np.maximum(level, 0.0))


def _doubt(plan: Plan, scenarios: int, doubt: float | None) -> Array:
    """What the means are multiplied with: one factor a scenario, the same for all its days."""
    climate = plan.weather.kind == "climate"
    sigma = PLACE_SIGMA if climate else FIGURES_SIGMA
    if doubt is not None:
        return np.full(scenarios, np.exp(sigma * doubt))
    if not climate:
        return np.ones(scenarios)
    return np.asarray(
        np.exp(sigma * normal_scores(plan.weather.seed, "place", 1, scenarios, 0.0)[0])
    )


def _temp_air(days: Days, clearness: Array, cell_day: Index) -> Array:
    """Air temperature, (cells, m): what the plan states, else the usual, with the day's range where
    that is a mean: wider on clear days."""
    stated = days.plan.weather.temp_air_c
    stated = days.usual_air.means_c if stated is None else stated
    mean = stated_air(stated, days.calendar, days.middles)[:, None]
    if isinstance(stated, tuple) and len(stated) == 2:
        return mean
    swing = stated_air((-0.5, 0.5), days.calendar, days.middles)[:, None]
    air = air_range(clearness, days.sea)[cell_day]
    air *= swing
    air += mean
    return air
