"""A table of places for one plan, and a folder of plans: what is read, and what is refused in which
line. All places are invented."""

from typing import Any

import pytest

from energy.answers.many.places import PlansAt, PlansOf, plan_files, read_places
from energy.plan import Plan, PlanError

PLAN = Plan.read("builtin:cloudy-repair").replace(weather={"kind": "climate"})
HEAD = "name,latitude,longitude"


def read(tmp_path, text, plan=PLAN):
    (tmp_path / "places.csv").write_text(text)
    return read_places(tmp_path / "places.csv", plan)


def problems(tmp_path, text, plan=PLAN):
    with pytest.raises(PlanError) as refused:
        read(tmp_path, text, plan)
    lines = refused.value.problems
    assert all(line.startswith(("places.csv: ", "builtin:")) for line in lines)
    return lines


def test_each_place_is_the_plan_there(tmp_path):
    text = f"{HEAD},pack.capacity_wh,task.tea\nhut,46.5,8.0,700,none\nyard,-33.9,151.2,,\n"
    hut, yard = (plan for _, plan in PlansAt(PLAN, read(tmp_path, text)))
    assert (hut.place.latitude_deg, hut.place.longitude_deg) == (46.5, 8.0)
    assert hut.place.timezone == "Europe/Zurich"
    assert yard.place.timezone == "Australia/Sydney"
    assert hut.place.horizon == yard.place.horizon == ()
    assert (hut.pack.capacity_wh, yard.pack.capacity_wh) == (700, PLAN.pack.capacity_wh)
    assert [task.name for task in yard.task] == [task.name for task in PLAN.task]
    assert [task.name for task in hut.task] == [t.name for t in PLAN.task if t.name != "tea"]


@pytest.mark.parametrize(
    "text",
    [
        "# mine\nLatitude [deg];Longitude [deg];Name\n46,5;8,0;hut\n",
        "\ufefflon\tlat\tname\n8.0\t46.5\thut\n",
    ],
)
def test_tables_as_people_write_them(tmp_path, text):
    (place,) = read(tmp_path, text)
    assert place.name == "hut"
    assert place.changes["place.latitude_deg"] == 46.5
    assert place.changes["place.longitude_deg"] == 8.0


BAD: dict[str, tuple[str, list[str]]] = {
    "empty": ("", ["is empty"]),
    "no row": (f"{HEAD}\n", ["holds no place"]),
    "missing columns": ("name\na\n", ["latitude is required", "longitude is required"]),
    "out of range": (
        f"{HEAD}\na,91,8\nb,46,-180.5\nc,nan,8\nd,,8\n",
        [
            'line 2: latitude must be a number in degrees from -90 to 90 (got "91")',
            'line 3: longitude must be a number in degrees from -180 to 180 (got "-180.5")',
            'line 4: latitude must be a number in degrees from -90 to 90 (got "nan")',
            'line 5: latitude must be a number in degrees from -90 to 90 (got "")',
        ],
    ),
    "unknown keys": (
        f"{HEAD},pack.capcity_wh,latitud,foo,task.tee\na,1,2,3,4,5,6\n",
        [
            'did you mean "capacity_wh"?',
            'did you mean "latitude"?',
            "foo is not a known key",
            'did you mean "tea"?',
        ],
    ),
    "the same name": (f"{HEAD}\na,1,2\nb,1,2\na,3,4\n", ['line 4: name "a" is in line 2 already']),
    "no name": (f"{HEAD}\n,1,2\n", ["name must be one line of text"]),
    "twice": (f"{HEAD},name\na,1,2,b\n", ['the column "name" is there twice']),
    "given twice": (
        f"{HEAD},place.latitude_deg\na,1,2,3\n",
        ["place.latitude_deg is given by the column latitude"],
    ),
    "a wide row": (f"{HEAD}\na,46,5,8\n", ["a decimal comma needs semicolons"]),
    "no value": (f"{HEAD},weather.sky\na,1,2,[1\n", ["is not a value as TOML has it"]),
    "an open quote": (f'{HEAD}\n"a,1,2\n', ["cannot be read as columns"]),
}


@pytest.mark.parametrize("wrong", BAD)
def test_what_is_wrong_is_one_line_each(tmp_path, wrong):
    text, words = BAD[wrong]
    lines = problems(tmp_path, text)
    assert len(lines) == len(words)
    for line, word in zip(lines, words, strict=True):
        assert word in line


def test_of_many_wrong_lines_the_first_are_told(tmp_path):
    lines = problems(tmp_path, HEAD + "\n" + "a,99,8\n" * 100)
    assert len(lines) == 41
    assert lines[-1] == "places.csv: and 60 more problems"


def test_weather_of_one_place_is_not_taken_for_that_of_others(tmp_path):
    text = f"{HEAD}\nhut,46.5,8.0\n"
    for weather, words in (
        ({"kind": "file", "file": "sun.csv"}, "its weather file is of one place"),
        ({"sun_hours": [3.0] * 12}, "its sun hours are those of one place"),
    ):
        plan = PLAN.replace(weather=weather)
        (line,) = problems(tmp_path, text, plan)
        assert words in line
        assert "--set weather.kind=climate" in line
        stated = f"{HEAD},weather.file\nhut,46.5,8.0,hut.csv\n"
        assert len(read(tmp_path, stated, plan)) == 1
        (line,) = problems(tmp_path, f"{stated}yard,46.6,8.1,\n", plan)
        assert line.startswith("places.csv: line 3: gives no weather, and of the plan its")


def test_a_value_that_the_plan_does_not_bear_is_refused_in_its_line(tmp_path):
    """All at once, with what else is wrong, and before any plan is asked."""
    rows = "a,1,2,-5,\nb,1,2,500,\nc,95,2,,\nd,3,4,-5,\ne,3,4,700,0\nf,3,4,,Nowhere\n"
    assert problems(tmp_path, f"{HEAD},pack.capacity_wh,place.timezone\n{rows}")[:-1] == [
        "places.csv: line 2: [pack]: capacity_wh must be at least 1 (got -5)",
        'places.csv: line 4: latitude must be a number in degrees from -90 to 90 (got "95")',
        "places.csv: line 5: [pack]: capacity_wh must be at least 1 (got -5)",
        "places.csv: line 6: [place]: timezone must be text (got 0)",
    ]


def test_a_folder_gives_its_plans_by_name_and_what_is_none_apart(tmp_path):
    for name, text in (
        ("b.toml", "[pack]\ncapacity_wh = 5\n"),
        ("a.toml", "not = = toml"),
        ("kit.toml", '[my-lamp]\nname = "lamp"\n'),
        ("notes.txt", ""),
    ):
        (tmp_path / name).write_text(text)
    plans, others = plan_files(tmp_path)
    assert [file.name for file in plans] == ["a.toml", "b.toml"]
    assert [file.name for file in others] == ["kit.toml"]
    named: Any = dict(PlansOf(plans, Plan.read))
    assert "is not valid TOML" in named["a.toml"].problems[0]
    assert any("[span]" in line or "span" in line for line in named["b.toml"].problems)


def test_a_folder_without_plans_is_one_line(tmp_path):
    (tmp_path / "kit.toml").write_text('[my-lamp]\nname = "lamp"\n')
    with pytest.raises(PlanError, match="holds no plan"):
        plan_files(tmp_path)
