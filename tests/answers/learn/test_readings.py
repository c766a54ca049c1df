"""What people write down while they work: good rows, and each kind of bad one as a single line."""

import pytest
from meter_days import folded, plan_of

from energy.answers.learn.counted_work import with_counted_work
from energy.answers.learn.learn import learn
from energy.answers.learn.observe import observe
from energy.answers.learn.posterior import EMPTY, figures_of
from energy.answers.learn.readings import parse_readings, read_readings
from energy.plan import PlanError
from energy.simulation.budget import budget

PLAN = folded()
HEAD = "time,battery_percent,solar_w,solar_wh,load_w,tool,count,sky,charger_w\n"


def read(rows, head=HEAD):
    return parse_readings(head + rows, PLAN)


def test_a_full_row_is_read():
    (row,) = read("2026-05-20 09:30,71 %,120,340,40,drill-10,3,clear,0\n").rows
    assert (row.battery_percent, row.solar_w, row.solar_wh, row.load_w) == (71, 120, 340, 40)
    assert (row.tool, row.count, row.sky, row.charger_w) == ("drill-10", 3, 0, 0)


def test_a_time_alone_is_on_the_plans_day():
    (row,) = read("09:30,71\n").rows
    assert row.at == PLAN.span.start.replace(hour=9, minute=30)


def test_a_clock_that_goes_far_back_is_the_next_days():
    plan = plan_of(span={"start": "2026-05-20T20:00:00", "end": "2026-05-21T08:00:00"})
    rows = parse_readings("time,battery_percent\n22:00,80\n06:00,70\n", plan).rows
    assert [row.at.day for row in rows] == [20, 21]


def test_semicolons_allow_decimal_commas():
    (row,) = read("09:30;71,5;120,25\n", "time;battery_percent;solar_w\n").rows
    assert (row.battery_percent, row.solar_w) == (71.5, 120.25)


def test_an_offset_is_taken_to_the_plans_clock():
    (row,) = read("2026-05-20T07:30:00Z,71\n").rows
    assert row.at.hour == 9


def test_a_time_that_the_clock_skips_is_taken_an_hour_later_and_said():
    # The EU's summer time begins on the last Sunday of March at 01:00 UTC (directive 2000/84/EC).
    berlin = {"latitude_deg": 52.5, "longitude_deg": 13.4, "timezone": "Europe/Berlin"}
    night = {"start": "2027-03-27T20:00:00", "end": "2027-03-28T12:00:00"}
    found = parse_readings(
        "time,battery_percent\n2027-03-28T01:59,80\n02:45,70\n03:10,69\n04:00,68\n",
        plan_of(place=berlin, span=night),
    )
    assert [f"{row.at:%H:%M}" for row in found.rows] == ["01:59", "03:45", "04:00"]
    assert found.moved == (
        "readings: line 3: 02:45 on Sun 28 Mar does not exist there, the clock is put forward:"
        " 03:45 is taken",
    )
    (line,) = found.problems
    assert line == "readings: line 4: times must not run backwards (got 03:10 after 03:45)"


def test_an_offset_tells_the_second_of_two_times():
    # It ends on the last Sunday of October at 01:00 UTC (the same directive).
    berlin = {"latitude_deg": 52.5, "longitude_deg": 13.4, "timezone": "Europe/Berlin"}
    night = plan_of(
        place=berlin, span={"start": "2027-10-30T20:00:00", "end": "2027-10-31T12:00:00"}
    )
    times = ("2027-10-31T02:30", "2027-10-31T02:30+02:00", "2027-10-31T02:30+01:00")
    first, same, second = (
        parse_readings(f"time,battery_percent\n{time},80\n", night).rows[0].time_s for time in times
    )
    assert first == same == second - 3600.0


def test_a_tool_may_be_named_by_its_task():
    plan = plan_of(task=[{"tool": "drill-10", "name": "new holes", "times": 3, "each_s": 20}])
    (row,) = parse_readings("time,tool,count\n09:00,New Holes,2\n", plan).rows
    assert row.tool == "drill-10"


BAD = {
    "09:00,140": "line 2: battery_percent must lie between 0 and 100 (got 140)",
    "09:00,full": 'line 2: battery_percent must be a number (got "full")',
    '09:00,"88,5"': 'line 2: battery_percent must be a number (got "88,5"); write 88.5',
    '09:00,"88,5 %"': 'line 2: battery_percent must be a number (got "88,5 %"); write 88.5',
    "09:00,80,-5": "line 2: solar_w must lie between 0 and 100000 (got -5)",
    "09:00,80,,,,angel-grinder-115,2": 'line 2: tool "angel-grinder-115" is not in the plan;'
    ' did you mean "angle-grinder-115"?',
    "09:00,80,,,,drill-10,2.5": 'line 2: count must be a whole number (got "2.5")',
    "09:00,80,,,,,2": "line 2: count needs a tool beside it",
    "09:00,80,,,,,,clera": "line 2: sky must be clear, sunny, few, fair, scattered, partly, broken,"
    " cloudy, overcast, grey, drizzle, fog, rain, or eighths"
    ' from 0 to 8 (got "clera"); did you mean "clear"?',
    "noon,80": 'line 2: "noon" is not a time; write 13:20, or with its date 2026-09-14 13:20',
    "2026-05-21 09:00,80": "line 2: 2026-05-21 09:00 lies outside the plan's span, 2026-05-20 08:00"
    " to 2026-05-20 15:00",
}


@pytest.mark.parametrize("row", BAD)
def test_a_wrong_cell_is_one_line(row):
    assert read(row + "\n").problems == (f"readings: {BAD[row]}",)


def test_lines_are_counted_as_an_editor_shows_them():
    (line,) = parse_readings(
        "# mine\n\ntime,battery_percent\n09:00,80\n\n# noon\n12:00,x\n", PLAN
    ).problems
    assert line.startswith("readings: line 7: ")


def test_times_that_run_backwards_are_one_line_and_the_row_is_left_out():
    found = read("10:00,80\n09:30,75\n11:00,70\n")
    assert found.problems == (
        "readings: line 3: times must not run backwards (got 09:30 after 10:00)",
    )
    assert [row.number for row in found.rows] == [2, 4]


def test_an_unknown_column_is_one_line_with_the_nearest_name():
    found = read("09:00,80\n", "time,batery_percent\n")
    assert found.problems == (
        'readings: column "batery_percent" is not known and left out; did you mean'
        ' "battery_percent"?',
    )


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("", "readings: is empty"),
        ("when,battery_percent\n09:00,80\n", "readings: no column time; columns: "),
        ("time,battery_percent\n09:00,80,5,6\n", "readings: line 2 has 4 cells under 2 headings"),
    ],
)
def test_a_file_that_cannot_be_read_is_one_line(text, line):
    with pytest.raises(PlanError) as caught:
        parse_readings(text, PLAN)
    assert len(caught.value.problems) == 1
    assert caught.value.problems[0].startswith(line)


def test_a_missing_file_is_one_line(tmp_path):
    with pytest.raises(PlanError, match="cannot be read"):
        read_readings(tmp_path / "none.csv", PLAN)


def test_what_is_right_is_learned_beside_what_is_wrong():
    found = read("08:30,88\n10:00,140\n11:00,60,,,,angle-grinder-115,20\nlater,20\n")
    answer = learn(PLAN, found)
    assert next(i for i in answer.items if i.what == "tool:angle-grinder-115").learned
    assert set(found.problems) <= set(answer.notes)


# --- the day as it was done ---------------------------------------------------------------------


def asked_wh(plan, tool):
    result = budget(plan)
    tasks = [k for k, task in enumerate(plan.task) if task.tool == tool]
    return sum(result.asked_wh[k] for k in tasks)


def test_what_was_counted_takes_the_place_of_what_was_planned():
    rows = read("08:30,88\n10:00,80,,,,angle-grinder-115,7\n").rows
    done = with_counted_work(PLAN, rows).plan
    one = asked_wh(PLAN, "angle-grinder-115") / 20  # planned were 20 cuts
    assert asked_wh(done, "angle-grinder-115") == pytest.approx(7 * one)


def test_a_tool_nobody_counted_is_taken_as_planned():
    rows = read("08:30,88\n10:00,80,,,,angle-grinder-115,7\n").rows
    done = with_counted_work(PLAN, rows).plan
    assert asked_wh(done, "drill-10") == pytest.approx(asked_wh(PLAN, "drill-10"))


def test_a_count_of_none_takes_the_tool_out_of_the_day():
    rows = read("08:30,88\n11:00,80,,,,angle-grinder-115,0\n").rows
    done = with_counted_work(PLAN, rows).plan
    assert asked_wh(done, "angle-grinder-115") == 0.0


def test_counted_bursts_lie_between_the_two_readings():
    rows = read("08:30,88\n09:15,80,,,,angle-grinder-115,5\n").rows
    done = with_counted_work(PLAN, rows).plan
    result = budget(done)
    mine = [x for x in result.bursts if done.task[x.task].tool == "angle-grinder-115"]
    assert len(mine) == 5
    assert rows[0].time_s <= mine[0].start_s < mine[-1].end_s <= rows[1].time_s


def test_more_bursts_than_the_time_holds_are_one_line():
    rows = read("08:30,88\n08:35,80,,,,angle-grinder-115,9\n").rows
    counted = with_counted_work(PLAN, rows)
    done, notes = counted.plan, counted.notes
    assert notes == [
        "line 3: 9 x 60 s do not fit into the 300 s since the row before. Were they side by side?"
        " Write rows of at most 5 each, all with this time"
    ]
    assert "angle-grinder-115" not in {task.tool for task in done.task}


def test_what_simply_runs_on_cannot_be_counted():
    plan = plan_of(task=[{"name": "radio", "supply": "usb", "working_w": 5}])
    rows = parse_readings("time,tool,count\n09:00,radio,2\n", plan).rows
    assert with_counted_work(plan, rows).notes == [
        "line 2: radio simply runs on: it cannot be counted"
    ]


def test_a_single_row_hash_changes_with_anything_that_was_seen():
    marks = {read(row).rows[0].mark for row in ("09:00,80\n", "09:00,81\n", "09:01,80\n")}
    assert len(marks) == 3


# --- what is left out, and why ------------------------------------------------------------------

HEATER = [{"name": "heater", "supply": "ac", "working_w": 200, "hours": 3, "at": "09:00"}]


def observed(rows, plan=PLAN, head=HEAD):
    return observe(
        plan, parse_readings(head + rows, plan).rows, EMPTY.with_figures(figures_of(plan))
    )


def item(answer, what):
    return next(one for one in answer.items if one.what == what)


def taught(rows, plan, head=HEAD):
    return learn(plan, parse_readings(head + rows, plan))


def test_percentages_near_full_and_at_zero_teach_nothing():
    day = observed("08:00,90\n08:20,97\n08:40,95\n12:00,60\n14:00,0\n")
    assert [one.value for one in day.observed] == [60.0]
    assert day.notes == (
        "lines 3, 4, 6: a battery_percent of 0, or of 95 and more, teaches nothing",
    )


@pytest.mark.parametrize("shown", [100, 95])
def test_a_day_that_begins_with_a_full_display_tells_less(shown):
    plan = plan_of(panel=[], task=HEATER)
    full, sure = (taught(f"08:30,{start}\n10:00,{start - 25}\n", plan) for start in (shown, 94))
    wide = [one.high - one.low for one in (item(a, "tool:heater") for a in (full, sure))]
    assert wide[0] > 1.05 * wide[1]
    assert f"line 2: a display stays at {shown} % for a while, so the start is known to some 3" \
        " points only" in full.notes  # fmt: skip


LEFT_OUT = {
    "09:00,80,0\n10:00,70,0,500\n11:00,60,0,400\n": "line 4: solar_wh fell within the day, which"
    " its counter cannot",
    "09:00,80\n10:00,70\n10:00,66\n": "line 4: a second battery_percent for one time; the first"
    " counts",
    "09:00,80\n13:15,70,,,300\n14:00,60\n": "line 3: load_w while something runs that is not"
    " steady; name its tool beside it",
    "08:00,90\n08:30,88,,,300\n11:00,60\n": "line 3: load_w at a time when nothing runs in the"
    " plan",
    "09:00,80\n10:00,70,50\n11:00,60,60\n": "lines 3, 4: solar_w where no sun on the panels is to"
    " be expected",
    "09:00,,40\n10:00,70\n11:00,60\n": "line 2: before the first battery_percent nothing is"
    " learned",
}


@pytest.mark.parametrize("rows", LEFT_OUT)
def test_what_teaches_nothing_is_one_line_with_the_reason(rows):
    assert observed(rows).notes == (LEFT_OUT[rows],)


def test_the_same_percentage_written_for_two_tools_counts_once_and_needs_no_line():
    day = observed("09:00,80\n11:00,60,,,,angle-grinder-115,9\n11:00,60,,,,drill-10,0\n")
    assert [one.kind for one in day.observed] == ["battery_percent"]
    assert day.notes == ()


def test_solar_watts_of_a_nearly_full_pack_are_not_the_suns():
    plan = plan_of(pack={"profile": "pack-1000", "taper_from_percent": 90})
    day = observed("10:00,94\n12:00,94.5,90\n", plan)
    assert day.notes == (
        "line 3: solar_w of a pack that is nearly full is what it wants, not the sun",
    )


def test_watts_read_at_the_outlets_tell_nothing_of_the_capacity():
    plan, head = plan_of(panel=[], task=HEATER), "time,battery_percent,load_w\n"
    answer = taught("08:30,90\n10:00,,240\n", plan, head)
    capacity = item(answer, "capacity_wh")
    assert item(answer, "tool:heater").after > 210.0
    assert capacity.after == pytest.approx(capacity.before, rel=1e-6)
    assert capacity.doubt_left_percent == pytest.approx(100.0, abs=1e-3)


@pytest.mark.parametrize(("column", "value"), [("solar_wh", 400), ("solar_w", 120)])
def test_what_the_sun_gave_by_itself_tells_nothing_of_the_capacity(column, value):
    head = f"time,battery_percent,{column}\n"
    answer = taught(f"08:00,40,0\n13:00,,{value}\n", plan_of(task=HEATER), head)
    assert abs(item(answer, "sky:2026-05-20").after - 100.0) > 5.0
    capacity = item(answer, "capacity_wh")
    assert capacity.after == pytest.approx(capacity.before, rel=1e-3)
    assert capacity.doubt_left_percent == pytest.approx(100.0, abs=0.1)


def test_a_reading_that_nothing_explains_is_left_out_and_named():
    rows = "08:00,90\n09:00,40\n11:00,72\n"
    answer, without = taught(rows, PLAN), taught(rows.replace("09:00,40\n", ""), PLAN)
    (line,) = (note for note in answer.notes if note.startswith("line 3: "))
    assert line.startswith("line 3: battery_percent of 40 is lower than the plan's day can explain")
    ours, theirs = (item(one, "tool:angle-grinder-115") for one in (answer, without))
    assert ours.after == pytest.approx(theirs.after, rel=1e-2)
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), rel=2e-2)


def test_a_row_that_was_left_out_is_not_remembered():
    answer = taught("08:00,90\n09:00,40\n11:00,72\n", PLAN)
    (record,) = answer.kit_file.learned.readings.values()
    marks = [row.mark for row in answer.readings.rows]
    assert record.rows == [marks[0], marks[2]]


def test_a_row_of_which_something_counts_is_remembered():
    plan = plan_of()
    rows = "09:00,60,,,\n12:00,48,900,,\n13:00,44,,,\n"
    answer = taught(rows, plan)
    assert any(note.startswith("line 3: solar_w of 900 is higher") for note in answer.notes)
    (record,) = answer.kit_file.learned.readings.values()
    assert len(record.rows) == 3


def test_nothing_but_odd_readings_is_refused():
    with pytest.raises(PlanError, match="line 3: battery_percent of 9 is lower"):
        taught("08:00,90\n09:00,9\n", PLAN)


def test_a_dark_day_where_a_full_pack_was_expected_is_not_odd():
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 30, "hours": 8, "at": "08:30"}
    clear = {"kind": "sky", "sky": 0, "futures": 1, "temp_air_c": 15}
    plan = plan_of(weather=clear, task=[lamp])
    answer = taught("08:00,90\n16:30,72\n", plan)
    assert budget(plan).charge_percent[-1, 0] > 99.0
    assert not any("explain" in note for note in answer.notes)
    assert item(answer, "sky:2026-05-20").after < 80.0


def test_what_is_left_out_stands_in_the_json_too():
    answer = taught("08:30,88\n10:00,140\n11:00,60\n14:00,0\n", PLAN)
    assert answer.as_dict()["notes"] == list(answer.notes)
    assert len(answer.notes) >= 2


def test_watts_of_a_tool_that_nothing_explains_are_named_by_their_column():
    plan = plan_of(panel=[], task=HEATER)
    rows = "08:30,90,,,,\n09:30,84,,,2000,heater\n10:00,80,,,,\n"
    notes = taught(rows, plan).notes
    assert any(note.startswith("line 3: load_w of 2000 is higher") for note in notes)
    assert not any("tool_w" in note for note in notes)


CHARGED = {"charger": [{"watts": 100, "between": ["09:00", "12:00"]}]}
OF_CHARGERS = {
    "08:00,60,,,,,,,200\n10:00,70\n": "line 2: charger_w is that since the row before, and there is"
    " none",
    "08:00,60\n10:00,60,,,,,,,0\n12:00,70\n": "line 3: a charger_w of 0: the plan's [[charger]]"
    " gave nothing since the row before",
}


@pytest.mark.parametrize("rows", OF_CHARGERS)
def test_what_a_rows_charger_is_of_is_said_where_it_may_surprise(rows):
    assert OF_CHARGERS[rows] in observed(rows, folded(**CHARGED)).notes


def test_no_charger_needs_no_line():
    assert observed("08:00,60,,,,,,,0\n08:30,60,,,,,,,0\n09:00,60,,,,,,,90\n").notes == ()


def test_a_charger_written_beside_the_second_tool_of_a_moment_counts():
    one = "09:00,60\n10:00,70,,,,{}\n10:00,70,,,,{}\n12:00,72\n"
    days = [
        observed(one.format("drill-10,0,,150", "angle-grinder-115,0")),
        observed(one.format("drill-10,0", "angle-grinder-115,0,,150")),
    ]
    assert days[0].case.charger_w.max() == 150.0
    assert (days[0].case.charger_w == days[1].case.charger_w).all()


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("09:00,0.9,,\n12:00,0.85,,\n", "battery_percent is percent: did you mean 90? (got 0.9)"),
        (
            "09:00,90,,\n12:00,85,0.12,\n",
            "solar_w looks like kW: at most 0.12 from panels of 200 W",
        ),
        (
            "09:00,90,,\n14:00,85,,0.6\n",
            "solar_wh looks like kWh: at most 0.6 from panels of 200 W",
        ),
    ],
)
def test_a_column_in_another_unit_is_refused(rows, said):
    plan = plan_of()
    with pytest.raises(PlanError) as caught:
        parse_readings("time,battery_percent,solar_w,solar_wh\n" + rows, plan)
    (line,) = caught.value.problems
    assert said in line


@pytest.mark.parametrize(
    "rows",
    [
        "09:00,1,,\n12:00,0,,\n",
        "08:01,90,0.1,0\n16:59,85,0,900\n",
        "09:00,90,12,30\n12:00,85,0.2,31\n",
    ],
)
def test_small_numbers_that_can_be_are_taken(rows):
    assert not parse_readings("time,battery_percent,solar_w,solar_wh\n" + rows, plan_of()).problems
