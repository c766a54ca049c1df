"""An invented plan on disk, with a file of profiles and a trace beside it; no test lives here."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from energy.plan import Plan, PlanError

TEXT = """# Invented.
profiles = ["my-tools.toml"]        # beside this plan

[place]
latitude_deg = 47.0
longitude_deg = 9.0
timezone = "Europe/Zurich"

[span]
start = 2026-06-01T07:00:00
end = 2026-06-02T08:00:00

[[panel]]
profile = "my-panel"
tilt_deg = 45                       # steep

[pack]
profile = "my-pack"
start_percent = 80

[pack.inverter]
idle_w = 5                          # measured

[[task]]
tool = "my-saw"
name = "cut"
times = 4
each_s = 30
between = ["09:00", "12:00"]

[[task]]
tool = "my-logger"
"""
TOOLS = """
[my-saw]
name = "saw on the bench"
supply = "ac"
kind = "intermittent"
working_w = 700
idle_w = 200
duty_percent = 60

[tools.my-logger]
name = "logger"
supply = "usb"
kind = "trace"
trace = "logger.csv"

[packs.my-pack]
capacity_ah = 50
nominal_v = 12.8
reserve_percent = 25
inverter = { rated_w = 800, idle_w = 9 }

[panels.my-panel]
rated_w = 120
tilt_deg = 20
"""
TRACE = "seconds,watts\n0,2\n60,5\n90,0\n"


def write_files(folder: Path) -> Path:
    """Put the plan, its file of profiles and the trace into a folder."""
    (folder / "my-plan.toml").write_text(TEXT, encoding="utf-8")
    (folder / "my-tools.toml").write_text(TOOLS, encoding="utf-8")
    (folder / "logger.csv").write_text(TRACE, encoding="utf-8")
    return folder


def reread(folder: Path, old: str, new: str, file: str = "my-plan.toml") -> Plan:
    """The plan after one change to the text of one of the files."""
    text = (folder / file).read_text(encoding="utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    return Plan.read(folder / "my-plan.toml")


def problems(ask: Any) -> list[str]:
    with pytest.raises(PlanError) as caught:
        ask()
    return caught.value.problems
