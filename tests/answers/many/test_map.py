"""The map of answers: each in its place, told apart without colour."""

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from energy.answers.many.many import Many
from energy.answers.many.picture import MARKS, answers_map
from energy.answers.many.row import KINDS, Row

KINDS_OF = ("yes", "almost", "no", "problem")


def of(rows):
    counts = {kind: sum(row.kind == kind for row in rows) for kind in KINDS}
    return Many("check", counts, complete=True, kept=tuple(rows))


def row(kind, latitude, longitude, name="hut"):
    if kind == "problem":
        return Row(name, latitude, longitude, error="no such place")
    return Row(name, latitude, longitude, kind, 50.0)


def drawn(panel):
    """The places of the marks by what the legend calls them."""
    marks = {}
    for collection in panel.collections:
        label = collection.get_label()
        if not label.startswith("_"):
            marks[label] = np.asarray(collection.get_offsets()).tolist()
    return marks


def test_each_answer_stands_at_its_place_and_is_counted():
    rows = [row(kind, 40.0 + k, 10.0 - k) for k, kind in enumerate(KINDS_OF)]
    rows += [row("no", 50.0, 20.0), Row("lost.toml", error="cannot be read")]
    page = answers_map(of(rows))
    assert drawn(page.axes[0]) == {
        "yes, 1": [[10.0, 40.0]],
        "almost, 1": [[9.0, 41.0]],
        "no, 2": [[8.0, 42.0], [20.0, 50.0]],
        "problem, 1": [[7.0, 43.0]],
    }
    words = " ".join(text.get_text() for text in page.texts)
    assert "6 plans: 1 yes, 1 almost, 2 no and 2 problems." in words
    assert "Not drawn, for want of a place: 1." in words


def test_answers_differ_in_shape_and_in_grey():
    marks = [MARKS[kind] for kind in KINDS_OF]
    assert len({mark["marker"] for mark in marks}) == len(marks)
    grey = sorted(float(np.dot(to_rgb(m["facecolor"]), (0.2126, 0.7152, 0.0722))) for m in marks)
    assert min(np.diff(grey)) > 0.05  # weights of sRGB's luminance: IEC 61966-2-1


def test_degrees_keep_their_shape_in_the_middle_of_the_map():
    """A degree of longitude is the cosine of the latitude of one of latitude."""
    page = answers_map(of([row("yes", 55.0, 0.0), row("no", 65.0, 30.0)]))
    panel = page.axes[0]
    page.canvas.draw()
    (x0, y0), (x1, y1) = panel.transData.transform([(0.0, 59.5), (1.0, 60.5)])
    assert (x1 - x0) / (y1 - y0) == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize(("longitudes", "wide"), [((179.0, -179.0), 3.0), ((-10.0, 40.0), 60.0)])
def test_places_on_both_sides_of_the_date_line_stand_side_by_side(longitudes, wide):
    rows = [row("yes", 0.0, longitude) for longitude in longitudes]
    west, east = answers_map(of(rows)).axes[0].get_xlim()
    offsets = drawn(answers_map(of(rows)).axes[0])["yes, 2"]
    assert abs(offsets[1][0] - offsets[0][0]) < wide
    assert west < min(x for x, _ in offsets) < max(x for x, _ in offsets) < east


def test_few_places_have_their_names():
    named = answers_map(of([row("yes", 46.5, 8.0, "the hut"), row("no", 47.0, 9.0, "the yard")]))
    assert {"the hut", "the yard"} <= {text.get_text() for text in named.axes[0].texts}
    crowd = answers_map(of([row("yes", 40 + k / 9, 8.0, f"hut {k}") for k in range(60)]))
    assert [text.get_text() for text in crowd.axes[0].texts] == []


def test_nothing_to_draw_is_an_empty_map():
    assert drawn(answers_map(of([])).axes[0]) == {}
