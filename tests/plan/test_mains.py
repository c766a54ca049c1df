"""The mains voltage of a lead: the inverter's, else the country's, by hand; asked for at sea."""

import json
from importlib.resources import files

import pytest
from plan_tables import SAW, plan, refused
from typer.testing import CliRunner

from energy.answers.wire.wire import wire
from energy.cli.main import app
from energy.plan import PlanError
from energy.plan.mains import USUAL_V, usual_mains
from energy.simulation.budget import budget

TOOL = {**SAW, "name": "saw", "times": 1, "each_s": 60, "start_w": 0}
LEAD = {"from": "pack", "to": "task:saw", "length_m": 25, "mm2": 2.5}


def led(timezone, lead=LEAD, inverter=None, **tool):
    """A plan with one mains tool on one lead in a time zone."""
    pack = {"capacity_wh": 1000, "inverter": {"rated_w": 2000, **(inverter or {})}}
    weather = {"kind": "clear", "temp_air_c": 15}
    place = {"timezone": timezone}
    task = [{**TOOL, **tool}]
    return plan(place=place, pack=pack, weather=weather, task=task, run=[lead])


# Voltages from memory of the IEC world plugs list; R of 2.5 mm2: IEC 60228, 7.98 ohm/km at 20 C,
# x (1 + 0.00393 x 40) at 60 C, 2 x 25 m: 0.4617 ohm. 800 W: A = 800 / V, drop % = 100 x A x R / V.
@pytest.mark.parametrize(
    ("timezone", "country", "volts", "amps", "drop_percent"),
    [
        ("Asia/Tokyo", "Japan", 100, 8.00, 3.69),  # 8.00 x 0.4617 = 3.69 V
        ("America/New_York", "the United States", 120, 6.67, 2.565),  # 3.08 V
        ("America/Mexico_City", "Mexico", 127, 6.30, 2.29),  # 2.91 V
        ("America/Sao_Paulo", "Brazil", 127, 6.30, 2.29),  # the lower of 127 and 220 V
        ("Asia/Seoul", "Korea (South)", 220, 3.64, 0.763),  # 1.68 V
        ("Europe/Zurich", "Switzerland", 230, 3.48, 0.698),  # 1.61 V
        ("Asia/Calcutta", "India", 230, 3.48, 0.698),  # an older name of Asia/Kolkata
        ("Asia/Kuwait", "Kuwait", 240, 3.33, 0.641),  # 1.54 V
    ],
)
def test_a_lead_is_judged_at_the_countrys_voltage(timezone, country, volts, amps, drop_percent):
    found = wire(led(timezone))
    (run,) = found.runs
    assert run.volts == volts
    assert run.amps == pytest.approx(amps, abs=0.005)
    assert run.drop_percent == pytest.approx(drop_percent, abs=0.005)
    (note,) = [note for note in found.notes if "mains" in note]
    assert f"{volts} V" in note
    assert country in note
    assert "state pack.inverter.volts if yours differs" in note


def test_a_heavy_tool_on_a_long_thin_lead_in_new_york_is_a_no():
    # 1,900 W / (120 V x 0.95) = 16.7 A. AWG 14 by ASTM B258: 2.081 mm2, 17.241 / 2.081 =
    # 8.285 ohm/km at 20 C, x 1.1572 at 60 C, 2 x 25 m: 0.479 ohm; 7.99 V of 120 V are 6.7 %.
    lead = {**LEAD, "mm2": 2.08}
    found = wire(led("America/New_York", lead, working_w=1900, power_factor=0.95))
    (run,) = found.runs
    assert run.amps == pytest.approx(16.7, abs=0.05)
    assert run.drop_percent == pytest.approx(6.7, abs=0.05)
    assert found.verdict is False


def test_the_inverters_voltage_beats_the_countrys_and_the_runs_own_beats_both():
    european = {"volts": 230}
    found = wire(led("America/New_York", inverter=european))
    assert found.runs[0].volts == 230.0
    assert any("230 V mains, by pack.inverter.volts" in note for note in found.notes)
    own = wire(led("America/New_York", {**LEAD, "volts": 115}, european))
    assert own.runs[0].volts == 115.0
    assert not any("mains" in note for note in own.notes)


def test_where_two_voltages_are_in_use_both_are_named():
    (note,) = [note for note in wire(led("America/Sao_Paulo")).notes if "mains" in note]
    assert "the lower of 127 and 220 V" in note


@pytest.mark.parametrize(
    ("timezone", "volts"),
    [
        # Facts of the trade, from memory of the IEC world plugs list.
        ("US/Eastern", 120),
        ("America/Toronto", 120),
        ("America/Puerto_Rico", 120),
        ("America/Bogota", 110),
        ("America/Lima", 220),
        ("America/Port_of_Spain", 115),
        ("America/Havana", 110),
        ("Asia/Taipei", 110),
        ("Asia/Shanghai", 220),
        ("Asia/Manila", 220),
        ("Australia/ACT", 230),
        ("Pacific/Auckland", 230),
        ("Pacific/Fiji", 240),
        ("Africa/Nairobi", 240),
        ("Africa/Johannesburg", 230),
        ("Indian/Antananarivo", 127),
        ("Europe/London", 230),
        ("Europe/Oslo", 230),
        # Older names that the time zone database links to a clock in another country.
        ("Iceland", 230),
        ("Pacific/Yap", 120),
        ("America/Coral_Harbour", 120),
    ],
)
def test_the_usual_voltage_of_a_zone(timezone, volts):
    found = usual_mains(timezone)
    assert found is not None
    assert found.volts == volts


@pytest.mark.parametrize(
    "timezone",
    ["UTC", "Etc/GMT+5", "GMT", "EST", "CET", "PST8PDT", "Antarctica/South_Pole", "Factory"],
)
def test_a_clock_without_a_country_tells_no_voltage(timezone):
    assert usual_mains(timezone) is None


def test_every_country_of_the_time_zone_database_has_its_voltage():
    # Nobody lives in Antarctica (AQ), on Bouvet (BV) and Heard (HM) by a country's own mains;
    # the Chagos Islands (IO) have that of a foreign base, which is not known here.
    text = (files("tzdata") / "zoneinfo" / "iso3166.tab").read_text(encoding="utf-8")
    codes = {line.split("\t")[0] for line in text.splitlines() if not line.startswith("#")}
    assert codes - set(USUAL_V) == {"AQ", "BV", "HM", "IO"}
    # IEC 60038 and the IEC world plugs list: household mains lie between 100 and 240 V.
    assert all(100 <= volts <= 240 for several in USUAL_V.values() for volts in several)
    assert all(list(several) == sorted(several) for several in USUAL_V.values())


def test_the_simulated_loss_is_at_the_same_voltage():
    # The same watts at half the volts lose four times as much.
    tool = {"spread_percent": 0, "duty_percent": 100, "each_s": 3600}
    low, high = (
        {n: float(e[0]) for n, e in budget(led("Europe/Zurich", LEAD, {"volts": v}, **tool))
         .ledger_wh.items()}["conversion_loss"]
        for v in (120, 240)
    )  # fmt: skip
    bare = float(
        budget(led("Europe/Zurich", {**LEAD, "length_m": 1e-6}, **tool)).ledger_wh[
            "conversion_loss"
        ][0]
    )
    assert (low - bare) / (high - bare) == pytest.approx(4.0, rel=0.03)  # inverter's curve on top
    us = budget(led("America/New_York", **tool)).ledger_wh["conversion_loss"][0]
    assert float(us) == pytest.approx(low)


# --- at sea -------------------------------------------------------------------------------------


def test_at_sea_wire_asks_for_the_voltage():
    with pytest.raises(PlanError) as caught:
        wire(led("Etc/GMT+5"))
    assert caught.value.problems == [
        "plan: run 1: the time zone UTC-5 tells no country, so the mains voltage is not known:"
        " give pack.inverter.volts, or the run's volts"
    ]


def test_at_sea_a_stated_voltage_will_do():
    assert wire(led("Etc/GMT+5", inverter={"volts": 230})).runs[0].volts == 230.0
    assert wire(led("Etc/GMT+5", {**LEAD, "volts": 120})).runs[0].volts == 120.0


def test_at_sea_the_simulation_takes_the_lowest_voltage_and_says_so():
    # 100 V (Japan) is the lowest mains in use: IEC 60038.
    at_sea = budget(led("UTC"))
    at_100_v = budget(led("UTC", inverter={"volts": 100}))
    assert (at_sea.charge_percent == at_100_v.charge_percent).all()
    (note,) = [note for note in at_sea.notes if "mains voltage" in note]
    assert "run 1" in note
    assert "100 V" in note
    assert "pack.inverter.volts" in note
    assert not any("mains voltage" in note for note in at_100_v.notes)


def test_the_commands_at_sea(tmp_path):
    text = """
        [place]
        latitude_deg = 20.0
        longitude_deg = -40.0
        [span]
        start = 2026-06-01T07:00:00
        end = 2026-06-01T19:00:00
        [weather]
        kind = "clear"
        temp_air_c = 20
        [pack]
        capacity_wh = 1000
        inverter = { rated_w = 1000 }
        [[task]]
        name = "saw"
        supply = "ac"
        working_w = 500
        minutes = 10
        at = "09:00"
        [[run]]
        from = "pack"
        to = "task:saw"
        length_m = 10
    """
    file = tmp_path / "sea.toml"
    file.write_text(text)
    asked = CliRunner().invoke(app, ["wire", str(file)])
    assert asked.exit_code == 2
    assert "give pack.inverter.volts" in asked.output + asked.stderr
    checked = CliRunner().invoke(app, ["check", str(file)])
    assert checked.exit_code == 0
    assert "100 V" in checked.output
    file.write_text(text.replace("rated_w = 1000", "rated_w = 1000, volts = 230"))
    told = json.loads(CliRunner().invoke(app, ["wire", str(file), "--json"]).stdout)
    assert told["runs"][0]["volts"] == 230.0
    assert "pack.inverter.volts" in told["runs"][0]["about"]


@pytest.mark.parametrize(
    ("volts", "words"),
    [
        (12, "volts must lie between 90 and 260, those of the mains side (got 12)"),
        (0, "volts must lie between 90 and 260, those of the mains side (got 0)"),
        (400, "volts must lie between 90 and 260, those of the mains side (got 400)"),
        ("230 V", 'volts must be a number (got "230 V")'),
        (True, "volts must be a number (got true)"),
    ],
)
def test_an_impossible_mains_voltage_is_one_line(volts, words):
    (line,) = refused(pack={"capacity_wh": 1000, "inverter": {"rated_w": 500, "volts": volts}})
    assert line == f"[pack.inverter]: {words}"
