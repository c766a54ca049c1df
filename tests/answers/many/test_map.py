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


@pytest.mark.parametrize(
    "places",
    [
        [(-30.0, -170.0), (-31.0, 170.0)],
        [(10.0, 8.0), (70.0, 9.0)],
        [(46.0, 8.0), (46.1, 8.1)],
        [(82.0, -170.0), (82.5, 150.0)],
    ],
)
def test_the_map_fills_its_place_on_the_page(places):
    """Between the legend above and the notes below is no empty paper."""
    page = answers_map(of([row("yes", *at) for at in places]))
    panel = page.axes[0]
    page.canvas.draw()
    map_px = panel.get_window_extent()
    whole_px = panel.get_position(original=True).transformed(page.transFigure)
    assert map_px.height == pytest.approx(whole_px.height, abs=1.5)
    assert map_px.width == pytest.approx(whole_px.width, abs=1.5)
    south, north = panel.get_ylim()
    assert -90.0 <= south < min(y for y, _ in places) < max(y for y, _ in places) < north <= 90.0


def test_few_places_have_their_names():
    named = answers_map(of([row("yes", 46.5, 8.0, "the hut"), row("no", 47.0, 9.0, "the yard")]))
    assert {"the hut", "the yard"} <= {text.get_text() for text in named.axes[0].texts}
    crowd = answers_map(of([row("yes", 40 + k / 9, 8.0, f"hut {k}") for k in range(60)]))
    assert [text.get_text() for text in crowd.axes[0].texts] == []


SOUTH = {  # towns, in the order in which one's yes once stood beside another's name
    "Wellington": (-41.3, 174.8),
    "Invercargill": (-46.4, 168.4),
    "Hobart": (-42.9, 147.3),
    "Ushuaia": (-54.8, -68.3),
    "Punta Arenas": (-53.2, -70.9),
    "Bariloche": (-41.1, -71.3),
    "Maseru": (-29.3, 27.5),
    "Lima": (-12.0, -77.0),
    "Alice Springs": (-23.7, 133.9),
    "Ocean": (-45.0, -120.0),
    "Stanley": (-51.7, -57.9),
    "Sucre": (-19.0, -65.3),
}


def crowd(seed):
    """Places close together, two of them in one spot. Invented."""
    at = np.random.default_rng(seed).normal((46.0, 8.0), (0.4, 2.0), (20, 2))
    at[1] = at[0]
    return {f"workshop {k}": (float(y), float(x)) for k, (y, x) in enumerate(at)}


@pytest.mark.parametrize("places", [SOUTH, crowd(1), crowd(2), crowd(3)])
def test_a_name_lies_nearer_to_its_own_mark_than_to_any_other(places):
    page = answers_map(of([row("yes", *at, name) for name, at in places.items()]))
    panel = page.axes[0]
    page.canvas.draw()
    (offsets,) = drawn(panel).values()
    marks = panel.transData.transform(offsets)
    names = list(places)
    named = [text for text in panel.texts if text.get_text() in names]
    for text in named:
        box = text.get_window_extent()
        off = marks - np.clip(marks, (box.x0, box.y0), (box.x1, box.y1))
        away = np.hypot(*off.T)
        own = names.index(text.get_text())
        assert away[own] > 0.0  # beside its mark, not on it
        assert away[own] + 8.0 < np.delete(away, own).min(), text.get_text()
    without = len(places) - len(named)
    assert 0 < without <= len(places) / 2
    told = [text.get_text() for text in panel.texts if text not in named]
    assert told == [f"too near to others for a name: {without}"]


def test_nothing_to_draw_is_an_empty_map():
    assert drawn(answers_map(of([])).axes[0]) == {}
