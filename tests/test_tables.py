"""People's tables as they come: separators, decimal commas, marks, notes, and line numbers.

Quoting and commas are those of RFC 4180 (section 2, from memory); semicolons between cells where
the comma is the decimal sign are common practice, no source.
"""

import pytest

from energy.answers.meter.log import parse_log
from energy.answers.size.candidates import read_candidates
from energy.plan import PlanError
from energy.plan.trace import read_trace
from energy.tables import number, parse_table, read_table, split_heading


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_the_separator_is_the_one_in_the_first_row(separator):
    table = parse_table(separator.join("ab") + "\n" + separator.join("12") + "\n")
    assert (table.headings, table.rows) == (("a", "b"), (("1", "2"),))


def test_quoted_cells_may_hold_the_separator_and_doubled_quotes():
    table = parse_table('name,note\n"saw, small","12"" blade"\n')
    assert table.rows == (("saw, small", '12" blade'),)


def test_a_byte_order_mark_is_no_part_of_the_first_heading(tmp_path):
    (tmp_path / "a.csv").write_bytes(b"\xef\xbb\xbftime,w\n1,2\n")
    assert read_table(tmp_path / "a.csv").headings == ("time", "w")


def test_notes_and_empty_lines_are_passed_over_and_lines_still_counted():
    table = parse_table("# my list\n\na,b\n1,2\n,,\n# more\n3,4\r\n \n5,6")
    assert table.rows == (("1", "2"), ("3", "4"), ("5", "6"))
    assert (table.first_line, table.lines) == (3, (4, 7, 9))


def test_spaces_around_cells_are_not_kept():
    assert parse_table(" a , b\n 1 ,2 \n").rows == (("1", "2"),)


@pytest.mark.parametrize("separator", [";", "\t"])
def test_decimal_commas_are_numbers_where_no_comma_parts_the_cells(separator):
    table = parse_table(separator.join(["a", "b"]) + "\n" + separator.join(["1,5", "x, y"]))
    assert list(table.records()) == [{"a": "1.5", "b": "x, y"}]


def test_a_quoted_comma_between_commas_is_left_alone():
    # 1,250 may be a thousand or one and a quarter.
    assert list(parse_table('a,b\n"1,250",2\n').records()) == [{"a": "1,250", "b": "2"}]


def test_a_short_row_lacks_its_last_cells():
    table = parse_table("a,b,c\n1\n2,3\n")
    assert list(table.records()) == [{"a": "1"}, {"a": "2", "b": "3"}]
    assert table.column(1) == ["", "3"]


@pytest.mark.parametrize(
    ("text", "line"), [("time,watts\n0,1,5\n", 2), ("time,watts\n0,1\n# note\n1,2,5\n2,1\n", 4)]
)
def test_a_row_with_a_cell_too_many_is_found(text, line):
    words = "has 3 cells under 2 headings; a decimal comma needs semicolons between the cells"
    assert parse_table(text).wide_row() == (line, words)


def test_a_table_without_a_cell_too_many_has_no_such_row():
    assert parse_table("a,b\n1\n2,3\n").wide_row() is None


@pytest.mark.parametrize("text", ["", "\n \n", "# nothing\n", ",,\n;\n"])
def test_a_file_that_holds_nothing_has_neither_headings_nor_rows(text):
    table = parse_table(text)
    assert (table.headings, table.rows) == ((), ())


def test_a_first_row_of_numbers_is_no_heading_where_headings_may_be_left_out():
    table = parse_table("0;1,5\n1;2\n", headless=("seconds", "watts"))
    assert table.headings == ("seconds", "watts")
    assert table.rows == (("0", "1,5"), ("1", "2"))
    assert parse_table("s;w\n1;2\n", headless=("seconds", "watts")).headings == ("s", "w")


def test_a_quote_that_is_not_closed_is_one_line():
    with pytest.raises(PlanError) as caught:
        parse_table('a,b\n1,2\n"3,4\n5,6\n', "mine.csv")
    (line,) = caught.value.problems
    assert line.startswith("mine.csv: line 4: cannot be read as columns (")


@pytest.mark.parametrize("content", [b"a,b\n\xe4,1\n", b"a\x00b"])
def test_what_is_no_text_is_one_line(tmp_path, content):
    (tmp_path / "a.csv").write_bytes(content)
    with pytest.raises(PlanError, match="is not a text file"):
        read_table(tmp_path / "a.csv")


@pytest.mark.parametrize(
    ("heading", "parts"),
    [
        ("Active Power [kW]", ("active_power", "kw")),
        ("power_kw", ("power", "kw")),
        ("kWh", ("", "kwh")),
        ("Time (s)", ("time", "s")),
        ("Voltage", ("voltage", "")),
    ],
)
def test_a_heading_is_parted_from_its_unit(heading, parts):
    assert split_heading(heading, {"kw", "kwh", "s"}) == parts


def test_a_number_is_one_or_none():
    assert (number("12.5"), number("-3e2"), number("x"), number("")) == (12.5, -300.0, None, None)


# --- its readers, beside readings and logs, whose own tests hold theirs ---------------------------


def test_a_trace_may_have_semicolons_and_decimal_commas(tmp_path):
    (tmp_path / "a.csv").write_text("seconds;watts\n0;2,5\n60;3\n")
    assert read_trace(tmp_path / "a.csv") == ((0.0, 2.5), (60.0, 3.0))


def test_a_trace_whose_decimal_commas_part_its_cells_is_refused(tmp_path):
    (tmp_path / "a.csv").write_text("0,2,5\n60,3,5\n")
    with pytest.raises(PlanError, match=r"a\.csv: line 1 has 3 cells under 2 headings"):
        read_trace(tmp_path / "a.csv")


def test_candidates_may_have_semicolons_and_decimal_commas(tmp_path):
    (tmp_path / "a.csv").write_text("name;kind;capacity_wh\nsmall;pack;256,5\n")
    (candidate,) = read_candidates(tmp_path / "a.csv")
    assert candidate.capacity_wh == 256.5


def test_a_later_row_of_a_log_with_a_cell_too_many_is_refused_with_its_number():
    with pytest.raises(PlanError, match="log: line 3 has 3 cells under 2 headings"):
        parse_log("time,watts\n0,1\n1,1,5\n2,1\n3,1\n")
