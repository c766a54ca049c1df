"""A lithium pack colder than it may be discharged: full perhaps, but it gives nothing.

The limit of -20 deg C is common practice, no source; the rest is arithmetic and energy balance.
"""

from datetime import datetime, timedelta

import numpy as np
import pytest
from plan_tables import refused
from told import told, unfolded

from energy.answers.check import details, words
from energy.answers.check.check import check, under_skies
from energy.answers.check.picture import charge, finding
from energy.answers.choose.choose import choose
from energy.answers.choose.words import sheet as choice_sheet
from energy.answers.size.size import size
from energy.plan import Plan
from energy.simulation.budget import budget

LAMP = {"name": "lamp", "supply": "dc12", "working_w": 40, "spread_percent": 0, "must": True}
SOCKET = {"name": "socket", "watts": 100}


def plan(pack: dict, task: dict = LAMP, air=-30, hours: float = 10, **tables: object) -> Plan:
    """A February day from 8 o'clock in frost; the pack idles without a draw."""
    start = datetime(2026, 2, 3, 8)
    place = {"latitude_deg": 47.0, "longitude_deg": 9.0, "timezone": "Europe/Zurich"}
    return Plan.from_dict(
        {
            "place": {**place, "elevation_m": 400},
            "span": {"start": start, "end": start + timedelta(hours=hours)},
            "weather": {"kind": "clear", "temp_air_c": air},
            "pack": {"capacity_wh": 1000, "idle_w": 0, **pack},
            "task": [task],
            **tables,
        }
    )


def everything(of: Plan) -> str:
    answer = check(of)
    text = told(lambda width: words.sheet(answer, width, every=True), "tasks", "energy", width=300)
    return unfolded(text)


def test_a_full_pack_below_the_limit_serves_nothing_and_keeps_its_charge() -> None:
    result = budget(plan({}))
    assert result.unmet_wh[0, 0] == pytest.approx(400.0)
    assert result.charge_percent[:, 0] == pytest.approx(100.0)
    assert result.verdict == "runs-flat"
    assert not result.yes


def test_at_the_limit_itself_it_still_gives() -> None:
    assert budget(plan({}, air=-20)).unmet_wh[0, 0] == 0.0


def test_a_pack_kept_warm_does_not_mind_the_air() -> None:
    result = budget(plan({"temperature": 15}))
    assert result.verdict == "stays-powered"
    assert result.too_cold_from_s is None


def test_heated_is_for_charging_and_gives_no_more_in_the_cold() -> None:
    result = budget(plan({"heated": True, "start_percent": 50}, charger=[SOCKET]))
    assert result.unmet_wh[0, 0] == 0.0  # the socket serves the lamp
    assert result.charge_percent[-1, 0] > 80.0  # and charges the heated pack
    alone = budget(plan({"heated": True}))
    assert alone.unmet_wh[0, 0] == pytest.approx(400.0)


def test_sun_and_charger_still_serve_the_load() -> None:
    result = budget(plan({}, charger=[SOCKET]))
    assert result.unmet_wh[0, 0] == 0.0
    assert result.ledger_wh["other_charging"][0] == pytest.approx(400.0 / 0.95)
    assert result.charge_percent[:, 0] == pytest.approx(100.0)
    assert result.verdict == "dips-into-reserve"  # which lies behind the cold, and is no reserve


def test_a_small_source_serves_a_part_of_the_load() -> None:
    result = budget(plan({}, charger=[{**SOCKET, "watts": 20}]))
    assert result.unmet_wh[0, 0] == pytest.approx(400.0 - 10.0 * 20.0 * 0.95)


def test_an_idle_draw_alone_is_enough_for_a_no() -> None:
    short = {**LAMP, "at": "08:00", "minutes": 1}
    result = budget(plan({"idle_w": 3, "reserve_percent": 0}, short, air=[-25, -5], hours=24))
    assert result.verdict == "runs-flat"


def test_what_the_cold_withholds_returns_when_it_thaws() -> None:
    # From -30 at sunrise to -10 at 15 h solar: it passes -20 halfway (a half cosine).
    result = budget(plan({}, air=[-30, -10], hours=6))
    served = result.flows()["delivered_w"] > 0.0
    first = result.time_s[:-1][served][0]
    assert served.any()
    assert not served.all()
    assert (np.diff(served.astype(int)) >= 0).all()  # once thawed it gives to the end
    cell = np.searchsorted(result.time_s, first)
    air = result.case.temp_pack[result.case.temp_row, 0]
    assert air[cell - 1] < -20.0 <= air[cell]
    lost = 40.0 * (first - result.time_s[0]) / 3600.0
    assert result.unmet_wh[0, 0] == pytest.approx(lost)


@pytest.mark.parametrize("chemistry", ["agm", "flooded"])
def test_lead_acid_has_no_such_limit(chemistry: str) -> None:
    result = budget(plan({"chemistry": chemistry, "capacity_wh": 3000}))
    assert result.unmet_wh[0, 0] == 0.0
    assert result.too_cold_from_s is None


def test_a_limit_stated_for_lead_acid_is_refused() -> None:
    found = refused(pack={"chemistry": "agm", "discharge_min_c": -10})
    assert found == ["[pack]: discharge_min_c is for lfp and nmc packs only"]


def test_a_limit_of_ones_own_counts() -> None:
    assert budget(plan({"discharge_min_c": -40})).verdict == "stays-powered"
    assert budget(plan({"discharge_min_c": -5}, air=-6)).verdict == "runs-flat"


# --- what is said -------------------------------------------------------------------------------


def test_the_answer_says_too_cold_and_never_flat() -> None:
    text = everything(plan({}))
    assert "gets too cold to give" in text
    assert "Too cold to give at 08:00: below -20 degrees C" in text
    assert 'what must run was lost too: "lamp"' in text
    assert "pack too cold to give at 08:00" in text
    assert "flat" not in text.lower()


def test_a_pack_that_runs_flat_in_mild_air_is_still_called_flat() -> None:
    text = everything(plan({"capacity_wh": 100}, air=15))
    assert "runs flat" in text
    assert "too cold" not in text


def test_sun_that_serves_all_leaves_a_reserve_that_cannot_be_had() -> None:
    text = everything(plan({}, charger=[SOCKET]))
    assert "ALMOST Nothing stops in the one weather tried, but the pack gets too cold to" in text
    assert "Lowest charge 100 % at 08:00, but below -20 degrees C the pack gives none of it" in text


def test_many_weathers_are_counted_by_what_stops_them() -> None:
    # Of the 31 weathers those are too cold in which the air falls below the limit.
    weather = {"kind": "file", "file": "builtin:sand-point"}
    result = budget(plan({"discharge_min_c": -3}, weather=weather))
    air = result.weather.air.temp_air[np.unique(result.case.temp_row)]
    cold = int((air < -3.0).any(axis=0).sum())
    assert 0 < cold < 31
    assert details.failures(result) == (
        f"Of the {cold} weathers in which it fails: in {cold} the pack gets too cold to give."
    )
    small = budget(plan({"discharge_min_c": -3, "capacity_wh": 420}, weather=weather))
    assert details.failures(small) == (
        f"Of the 31 weathers in which it fails: in {31 - cold} the pack runs flat and in {cold}"
        " the pack gets too cold to give."
    )


def test_the_json_tells_since_when() -> None:
    found = check(plan({})).as_dict()
    assert found["too_cold_from"] == "2026-02-03T08:00:00+01:00"
    assert found["tasks"][0]["why_not"] == ("pack too cold to give at 08:00 (below -20 degrees C)")
    assert check(plan({}, air=5)).as_dict()["too_cold_from"] is None


def test_the_three_skies_say_so_too() -> None:
    result = budget(plan({}))
    assert [sky.too_cold for sky in under_skies(result)] == [True, True, True]


def test_the_picture_says_so_and_keeps_its_reserve_on_the_paper() -> None:
    result = budget(plan({}))
    assert "gets too cold to give at 08:00" in finding(result)
    panel = charge(result).axes[0]
    assert all(np.max(line.get_ydata()) <= 104.0 for line in panel.lines)


def test_a_choice_says_that_no_energy_is_wanting() -> None:
    answer = choose(plan({}))
    text = told(lambda width: choice_sheet(answer, width), width=300)
    assert "too cold to give at Tue 03 Feb 08:00" in text


def test_no_size_helps_a_pack_that_is_too_cold() -> None:
    answer = size(plan({}, panel=[{"rated_w": 100}], weather={
        "kind": "sky", "sky": "clear", "futures": 3, "temp_air_c": -30,
    }))  # fmt: skip
    assert answer.pick is None
    assert "too cold to give" in str(answer.as_dict())
