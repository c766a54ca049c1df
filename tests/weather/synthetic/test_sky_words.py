"""The words for a sky, and the light that comes through it."""

import numpy as np
import pytest

from energy import Plan, PlanError
from energy.model.sun import cloud_transmission
from energy.plan.skies import DARKER, SKIES
from energy.simulation.budget import budget
from energy.weather.synthetic.sky import daily_transmission, eighths_of, sky_in_words

DEMO = Plan.read("builtin:cloudy-repair")


def under(sky, futures=1):
    weather = {"kind": "sky", "sky": sky, "futures": futures}
    return DEMO.replace(weather=weather)


@pytest.mark.parametrize("word", [word for word in SKIES if word not in DARKER])
def test_a_word_for_cloud_has_the_formulas_share(word):
    # Kasten & Czeplak, Solar Energy 24 (1980) 177: 1 - 0.75 (N/8)^3.4, from memory.
    sky = SKIES[word]
    assert sky.light_percent == pytest.approx(100 * (1 - 0.75 * (sky.eighths / 8) ** 3.4), abs=0.05)
    assert under(word).weather.sky == (sky.eighths,)


@pytest.mark.parametrize("word", DARKER)
def test_what_falls_from_a_sky_has_the_share_of_the_table(word):
    okta = np.array([eighths_of(word)])
    assert 100.0 * cloud_transmission(okta)[0] == pytest.approx(SKIES[word].light_percent)
    chance = (np.arange(4000) + 0.5) / 4000
    days = daily_transmission(okta[:, None], chance[None, :])
    assert 100.0 * days.mean() == pytest.approx(SKIES[word].light_percent, abs=0.3)
    # as uneven, for their mean, as overcast days are
    overcast = daily_transmission(np.array([[8.0]]), chance[None, :])
    assert days.std() / days.mean() == pytest.approx(overcast.std() / overcast.mean(), rel=0.03)


def test_the_light_falls_from_sun_to_rain():
    words = ("sunny", "fair", "partly", "cloudy", "grey", "drizzle", "rain")
    sun = [budget(under(word)).ledger_wh["sun_on_panel"][0] for word in words]
    assert sun == sorted(sun, reverse=True)
    assert sun[-1] == pytest.approx(0.15 / 0.25 * sun[4], rel=0.03)


def test_words_and_eighths_may_be_mixed_by_date_and_capitals_do_not_count():
    assert under(["Rain", 3]).weather.sky == ("rain", 3)
    assert under("SUNNY").weather.sky == (0,)
    assert sky_in_words(("rain", 3)) == "a sky of rain, 3 eighths of cloud"
    assert sky_in_words(("fog",)) == "a sky of fog"
    assert budget(under(["rain", 3], futures=20)).chance.scenarios == 20


def test_another_word_is_refused_with_all_that_there_are():
    with pytest.raises(PlanError) as refused:
        under("rainy")
    (line,) = refused.value.problems
    assert all(word in line for word in SKIES)
    assert 'did you mean "rain"?' in line


def test_the_table_of_skies_is_shown():
    from typer.testing import CliRunner

    from energy.cli.main import app

    shown = CliRunner().invoke(app, ["help", "skies"]).output
    for word, sky in SKIES.items():
        (line,) = (line for line in shown.splitlines() if line.split()[:1] == [word])
        assert f"{sky.light_percent:.0f} %" in line
        assert sky.source.split()[0] in line
    assert max(map(len, shown.splitlines())) <= 80
