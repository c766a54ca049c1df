"""A new plan: where, from when, and from a few questions."""

from datetime import UTC, datetime

import pytest
from typer.testing import CliRunner

from energy import Plan
from energy.cli import clock
from energy.cli.main import app


@pytest.fixture
def new(tmp_path, monkeypatch):
    """Write a new plan on 19 October 2026, 23:00 UTC; its text is None where there is none."""
    monkeypatch.setattr(clock, "now", lambda: datetime(2026, 10, 19, 23, tzinfo=UTC))
    file = tmp_path / "plan.toml"

    def written(*options, answers=None):
        typed = None if answers is None else "\n".join(answers) + "\n"
        command = ["new", str(file), *options]
        done = CliRunner().invoke(app, command, input=typed, catch_exceptions=False)
        return done, Plan.read(file) if file.exists() else None

    return written


def test_a_new_plan_starts_tomorrow_at_its_place(new):
    done, plan = new("--at", "59.35 17.2")  # 01:00 on the 20th there
    assert done.exit_code == 0, done.output
    assert plan.span.start == datetime(2026, 10, 21, 7)
    assert plan.span.end == datetime(2026, 10, 22, 8)
    assert (plan.place.latitude_deg, plan.place.longitude_deg) == (59.35, 17.2)
    assert plan.place.timezone == "Europe/Stockholm"


@pytest.mark.parametrize("at", ["-43 -73.6", "43 -73.6", "0 -78"])
def test_the_facing_that_is_offered_is_the_one_that_is_left_out(new, tmp_path, at):
    _, plan = new("--at", at)
    file, facing = tmp_path / "plan.toml", "N" if at.startswith("-") else "S"
    offered = f'# facing = "{facing}"                      # a compass word'
    assert offered in file.read_text()
    file.write_text(file.read_text().replace(offered, offered[2:]))
    assert Plan.read(file).panel == plan.panel


def test_a_new_plan_starts_tomorrow_at_the_demos_place_and_bears_no_other_months_name(new):
    _, plan = new()
    assert plan.span.start == datetime(2026, 10, 20, 7)
    assert "September" not in plan.title


def test_a_new_plan_starts_when_asked(new):
    _, plan = new("--date", "2026-12-01")
    assert plan.span.start == datetime(2026, 12, 1, 7)


def test_a_demo_asked_for_by_name_keeps_its_date(new):
    demo = Plan.read("builtin:two-night-trip")
    _, plan = new("--demo", "two-night-trip")
    assert plan.model_dump() == demo.model_dump()


def test_a_demo_asked_for_by_name_starts_when_asked(new):
    _, plan = new("--demo", "two-night-trip", "--date", "tomorrow")
    assert plan.span.start == datetime(2026, 10, 20, 16)


@pytest.mark.parametrize("options", [(), ("--ask",)])
def test_open_water_is_asked_back(new, options):
    done, plan = new("--at", "60.4, -5.3", *options)
    assert done.exit_code == 2
    assert done.stderr == "60.4, -5.3 is open water: did you mean 60.4, 5.3?\n"
    assert plan is None


def test_a_place_that_cannot_be_is_one_line(new):
    done, plan = new("--at", "59 61 N 17 12 E")
    assert done.exit_code == 2
    assert len(done.stderr.splitlines()) == 1
    assert plan is None


def test_questions_ask_for_date_charge_and_panels(new):
    answers = [
        "60.4 -5.3", "60.4 N 5.3 E", "soon", "tomorrow 09:00", "2026-10-21 18:00",
        "outdoors", "usual", "pack-1000", "0.8", "80 %", "folding-100", "many", "2",
        "phone", "1", "12:00-16:00", "no", "",
    ]  # fmt: skip
    done, plan = new("--ask", answers=answers)
    assert done.exit_code == 0, done.output
    assert plan.span.start == datetime(2026, 10, 21, 9)  # it is the 20th in Bergen
    assert plan.pack.start_percent == 80
    assert (plan.panel[0].rated_w, plan.panel[0].count) == (100, 2)
    assert "did you mean 60.4, 5.3?" in done.stderr
    assert "did you mean 80?" in done.stderr


def test_questions_offer_tomorrow_or_the_date_asked_for_and_no_panel_is_not_counted(new):
    answers = ["", "", "outdoors", "", "", "", "none", "phone", "", "", "", ""]
    _, plan = new("--ask", "--at", "46.5, 8", "--date", "2026-12-01", answers=answers)
    assert plan.span.start == datetime(2026, 12, 1, 8)
    assert plan.panel == ()
    assert plan.pack.start_percent == 100
