"""The generator's steps against the published closed forms and their exact solutions."""

import numpy as np
import pytest
from scipy.stats import kstest

from energy.weather.synthetic.generator import (
    OVER_CLEAR_HOUR,
    between_months,
    daily_clearness,
    hourly_clearness,
    month_knots,
    noons,
    normal_scores,
    truncated_exponential_shape,
)

# Bendt, Collares-Pereira & Rabl, Solar Energy 27 (1981) 1 (from memory), between 0.05 and Hollands
# & Huget's limit: mean clearness, limit, exact rate, standard deviation (recomputed).
BENDT = [
    (0.3, 0.691, -2.125, 0.177),
    (0.4, 0.738, 0.186, 0.198),
    (0.5, 0.765, 2.272, 0.194),
    (0.6, 0.7915, 4.621, 0.167),
    (0.7, 0.818, 8.373, 0.115),
]


def limit(mean: float) -> float:
    return 0.6313 + 0.267 * mean - 11.9 * (mean - 0.75) ** 8


@pytest.mark.parametrize(("mean", "_", "rate", "spread"), BENDT)
def test_rate_and_spread_of_the_daily_clearness(mean, _, rate, spread):
    highest = np.array([limit(mean)])
    shape = truncated_exponential_shape(np.array([mean]), 0.05, highest)
    assert shape[0] / (highest[0] - 0.05) == pytest.approx(rate, abs=2e-3)
    chance = (np.arange(20000) + 0.5)[None, :] / 20000
    days = daily_clearness(np.array([[mean]]), highest[:, None], chance)
    assert days.mean() == pytest.approx(mean, abs=1e-4)
    assert days.std() == pytest.approx(spread, abs=1e-3)


@pytest.mark.parametrize("mean", [0.3, 0.5, 0.7])
def test_the_daily_draw_follows_the_published_distribution(mean):
    a, b = 0.05, limit(mean)
    g = truncated_exponential_shape(np.array([mean]), a, np.array([b]))[0] / (b - a)
    drawn = daily_clearness(
        np.array([[mean]]), np.array([[b]]), np.random.default_rng(1).random((1, 4000))
    )

    def distribution(k):
        return (np.exp(g * a) - np.exp(g * k)) / (np.exp(g * a) - np.exp(g * b))

    assert kstest(drawn[0], distribution).pvalue > 0.01


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
