"""Lines of an answer: folded, in columns, and no more than there is room for."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

from energy.show.layout import LINES, Part, Sheet, fitted, folded, labelled, listed, part, show
from energy.show.table import Column, rows

words = st.lists(
    st.text(st.characters(blacklist_categories=["C", "Z"]), min_size=1, max_size=30), max_size=30
)


@given(words, st.integers(20, 100), st.integers(0, 8))
def test_no_line_is_wider_than_it_may_be_and_nothing_is_lost(text, width, hanging):
    lines = folded(" ".join(text), width, hanging)
    assert all(cell_len(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join("".join(text).split())
    assert all(line.startswith(" " * hanging) for line in lines[1:])


@pytest.mark.parametrize("width", range(24, 100))
def test_a_number_never_parts_from_its_unit(width):
    text = (
        "Lowest charge 54 % at Tue 15 Sep 08:00, 207 Wh above the reserve of 15 %; 28 of 31"
        " weathers, 48 to 94 % with the doubt; a lead of 12 m, 2.5 mm2 and 16 A, for 53 min."
    )
    for line in folded(text, width)[:-1]:
        assert not re.search(r"(?<!mm)\d$", line) or line.endswith("08:00"), line


def test_a_word_that_is_cut_is_never_parted_by_a_blank():
    assert folded("x" * 18 + " y", 20, hanging=4) == ["x" * 16, "    xx y"]


def test_degrees_keep_their_scale_and_their_north():
    assert folded("judged at -40 degrees C", 21) == ["judged at", "-40 degrees C"]
    assert folded("facing 161 degrees true", 20) == ["facing", "161 degrees true"]


def test_a_label_hangs_over_its_own_lines():
    first, second = labelled("Weather", "typical year, Sand Point, 31 like days", 36)
    assert first == "Weather   typical year, Sand Point,"
    assert second == " " * 10 + "31 like days"


@given(
    st.lists(
        st.tuples(st.text("abc ", min_size=1, max_size=40), st.integers(0, 10**6)), min_size=1
    ),
    st.integers(40, 100),
)
def test_a_table_is_never_wider_than_its_room_and_keeps_its_words(cells, width):
    names, figures = [" ".join(name.split()) or "a" for name, _ in cells], [f for _, f in cells]
    columns = [
        Column("task", names),
        Column("takes", [f"{wh} Wh" for wh in figures], right=True),
        Column(
            "so long a heading that it folds", [f"{wh} %" for wh in figures], right=True, drop=1
        ),
    ]
    table = [line for row in rows(columns, width) for line in row]
    assert all(cell_len(line) <= width for line in table)
    drawn = " ".join(table)
    assert all(f"{wh} Wh" in drawn for wh in figures)


def test_the_column_least_needed_goes_first_and_no_word_is_broken():
    columns = [
        Column("task", ["unbreakable-name-of-a-task"]),
        Column("W", ["1000 W"], right=True, drop=2),
        Column("why", ["too much"], drop=1),
    ]
    wide, narrow, narrowest = (
        "\n".join(line for row in rows(columns, width) for line in row) for width in (60, 36, 28)
    )
    assert "why" in wide
    assert "why" not in narrow
    assert "1000 W" in narrow
    assert "1000 W" not in narrowest
    assert all("unbreakable-name-of-a-task" in drawn for drawn in (wide, narrow, narrowest))


def test_parts_give_way_in_their_order_and_never_below_their_least():
    first = listed(["A"], [["a1"], ["a2"], ["a3"]], lambda n: f"{n} more", most=3, least=1, gives=2)
    second = Part([[Text("b1"), Text("b2")], [Text("b")]], gives=1)
    firm = part(["c"])
    heights = [[len(p.lines) for p in fitted([first, second, firm], room)] for room in (7, 6, 4, 1)]
    assert heights == [[4, 2, 1], [4, 1, 1], [3, 1, 1], [3, 1, 1]]


def test_what_takes_long_is_asked_after_the_rest_is_printed():
    out, printed = Console(width=80, record=True), []

    def slow():
        printed.append(out.export_text(clear=False))
        return part(["found"])

    show(Sheet([part(["first"]), slow, part(["last"])]), out)
    assert printed[0].split() == ["first"]
    assert out.export_text().split() == ["first", "found", "last"]


def test_room_is_kept_for_what_is_still_to_be_found():
    long = Part([[Text("x")] * 24, [Text("x")] * 15], gives=1)
    out = Console(width=80, record=True)
    show(Sheet([long, lambda: part(["f"] * 5), part(["end"] * 3)]), out)
    assert len(out.export_text().splitlines()) <= LINES
