"""The generator's steps against the published closed forms and their exact solutions."""

import numpy as np
import pytest
from scipy.stats import beta, kstest

from energy.weather.synthetic.generator import (
    ALIKE,
    OVER_CLEAR_HOUR,
    between_months,
    daily_clearness,
    highest_clearness,
    hourly_clearness,
    how_alike,
    month_knots,
    noons,
    normal_scores,
)

# The truncated exponential of Bendt, Collares-Pereira & Rabl, Solar Energy 27 (1981) 1 (from
# memory), between 0.05 and Hollands & Huget's limit: mean clearness, limit, standard deviation
# (recomputed). Published for a place's months in general; measured days are some 15 % more alike.
BENDT = [(0.3, 0.691, 0.177), (0.4, 0.738, 0.198), (0.5, 0.765, 0.194), (0.6, 0.7915, 0.167)]
MANY = (np.arange(20000) + 0.5)[None, :] / 20000


def days_of(mean: float, highest: float, spread: float, chance: np.ndarray = MANY) -> np.ndarray:
    means, limits = np.array([[mean]]), np.array([[highest]])
    alike = how_alike(means, limits, np.array([[spread]]))
    return daily_clearness(means, limits, alike, chance)[0]


@pytest.mark.parametrize(("mean", "highest", "spread"), BENDT)
def test_days_have_their_mean_and_are_spread_little_less_than_published(mean, highest, spread):
    days = days_of(mean, highest, np.nan)
    assert days.mean() == pytest.approx(mean, abs=1e-4)
    assert 0.8 * spread < days.std() < spread
    assert 0.05 <= days.min() <= days.max() <= highest


@pytest.mark.parametrize("mean", [0.3, 0.5, 0.7])
def test_the_daily_draw_follows_a_beta_distribution_of_that_mean(mean):
    drawn = days_of(mean, 0.8, np.nan, np.random.default_rng(1).random((1, 4000)))
    share = (mean - 0.05) / 0.75
    shapes = beta(share * ALIKE, (1.0 - share) * ALIKE, loc=0.05, scale=0.75)
    assert kstest(drawn, shapes.cdf).pvalue > 0.01


@pytest.mark.parametrize("spread", [0.06, 0.15, 0.22])
def test_days_are_spread_between_the_usual_and_what_the_place_is_known_to_have(spread):
    usual = days_of(0.5, 0.77, np.nan).std()
    drawn = days_of(0.5, 0.77, spread)
    assert drawn.mean() == pytest.approx(0.5, abs=1e-3)
    # The sum of the shapes is the usual and the place's, halved: so is 1 over the variance.
    halved = (usual**-2.0 + spread**-2.0) / 2.0
    assert drawn.std() == pytest.approx(halved**-0.5, rel=2e-3)


@pytest.mark.parametrize(("mean", "highest", "spread"), [(0.02, 0.5, 0.6), (0.9, 0.8, 0.01)])
def test_a_mean_or_a_spread_that_cannot_be_is_held_to_what_can(mean, highest, spread):
    days = days_of(mean, highest, spread)
    assert np.isfinite(days).all()
    assert 0.05 <= days.min() <= days.max() <= highest


def test_a_month_of_nearly_clear_days_has_few_dull_ones():
    days = days_of(0.72, 0.76, 0.03)
    assert days.mean() == pytest.approx(0.72, abs=1e-3)
    assert np.percentile(days, 10) > 0.65


@pytest.mark.parametrize("light_wh", [2000.0, 6000.0, 11500.0])
@pytest.mark.parametrize("clear", [0.5, 0.65, 0.8])
def test_every_mean_leaves_room_for_days_above_it_and_no_step_stands_between_two(clear, light_wh):
    means = np.linspace(0.2, 0.85, 1301)
    highest = highest_clearness(means, np.full(means.size, clear), np.full(means.size, light_wh))
    assert (highest >= means * 1.02).all()
    assert np.abs(np.diff(highest)).max() < 0.002
    low = means < 0.5
    assert highest[low].max() <= 1.53 * clear + 1e-12


def test_a_day_brighter_than_its_clear_sky_still_adds_up():
    hours = np.arange(24)
    sin_height = 0.5 * np.sin(np.pi * (hours - 6.0 + 0.5) / 12.0)
    light = np.maximum(1361.0 * sin_height, 0.0)
    days = np.full((1, 50), 1.3 * 0.6)
    scores = normal_scores(3, "hours", 24, 50, 0.54)
    kt = hourly_clearness(days, hours * 0, sin_height, light, np.full(24, 0.6), scores)
    assert (kt * light[:, None]).sum(axis=0) / light.sum() == pytest.approx(1.3 * 0.6, rel=1e-4)


def test_the_interpolated_year_keeps_the_monthly_means():
    means = np.array([0.3, 0.35, 0.42, 0.45, 0.5, 0.55, 0.52, 0.5, 0.45, 0.38, 0.3, 0.28])
    dates = np.arange("2026-01-01", "2027-01-01", dtype="datetime64[D]")
    days = between_months(noons(dates)) @ month_knots(means)
    month = dates.astype("datetime64[M]").astype(int) % 12
    kept = np.bincount(month, days) / np.bincount(month)
    # The closed form counts months as equally long: within 0.001 of the means.
    assert kept == pytest.approx(means, abs=1e-3)


def test_scores_follow_one_another_with_the_stated_correlation():
    scores = normal_scores(0, "days", 60, 2000, 0.29)
    lagged = np.corrcoef(scores[:-1].ravel(), scores[1:].ravel())[0, 1]
    assert lagged == pytest.approx(0.29, abs=0.01)
    assert scores.std() == pytest.approx(1.0, abs=0.01)


def test_hours_add_up_to_their_day_and_never_pass_the_clear_sky_by_more_than_cloud_edges():
    hours = np.arange(48)
    sin_height = 0.7 * np.sin(np.pi * (hours % 24 - 6.0 + 0.5) / 12.0)
    light = np.maximum(1361.0 * sin_height, 0.0)
    clear = np.full(48, 0.72)
    days = np.array([[0.2, 0.5, 0.7], [0.1, 0.4, 0.6]])
    scores = normal_scores(3, "hours", 48, 3, 0.54)
    kt = hourly_clearness(days, hours // 24, sin_height, light, clear, scores)
    for day in (0, 1):
        rows = hours // 24 == day
        total = (kt[rows] * light[rows, None]).sum(axis=0) / light[rows].sum()
        assert total == pytest.approx(days[day], rel=1e-9)
    assert kt.max() <= OVER_CLEAR_HOUR * 0.72 + 1e-12
    assert (kt[sin_height <= 0.0] == 0.0).all()
