"""Runs that no cable, gauge or fuse of the tables suits: a NO with its reason; others answered."""

import pytest
from plan_tables import LAMP, plan
from told import told

from energy.answers.wire.wire import wire
from energy.answers.wire.words import sheet
from energy.show.layout import part

PANEL = {"rated_w": 200, "v_mp": 18, "v_oc": 21.6, "i_sc": 11.8}
TO_PACK = {"from": "panel", "to": "pack", "length_m": 5}


def wired(*runs):
    pack = {"nominal_v": 12.8, "solar_input": {"max_v": 60}}
    return wire(plan(panel=[PANEL], pack=pack, task=[LAMP], run=list(runs)), lowest_c=0.0)


def shown(answer):
    return told(lambda width: sheet(answer, part([]), width), width=200)


@pytest.mark.parametrize(
    ("figures", "fuse_a", "words"),
    [
        ({"amps": 400}, None, "it must carry 500 A: 500 A are beyond the table, which ends at 232"),
        ({"amps": 190}, 250.0, "250 A are beyond the table, which ends at 232 A in 95 mm2"),
        ({"amps": 90, "length_m": 80}, 125.0, "even in 95 mm2, where the table ends"),
    ],
)
def test_a_run_beyond_the_tables_is_a_no_and_the_others_are_answered(figures, fuse_a, words):
    run = {"from": "battery", "to": "winch", "length_m": 2, "volts": 12, **figures}
    answer = wired(run, TO_PACK)
    beyond, other = answer.runs
    assert (beyond.fits, beyond.mm2, beyond.fuse_a) == (False, 95.0, fuse_a)
    assert any(note.startswith("run 1") and words in note for note in answer.notes)
    assert other == wired(TO_PACK).runs[0]
    assert "the thickest of the table, which is not enough" in beyond.rule
    assert "smallest" not in beyond.rule
    assert "NO  Run 1 needs another cable" in shown(answer)


def test_no_fuse_is_named_beyond_the_series_which_ends_at_300_a():
    # Common practice: bolted fuses by ISO 8820 end there; 1.25 x 400 A = 500 A.
    run = {"from": "battery", "to": "winch", "length_m": 2, "volts": 12, "amps": 400}
    (one,) = wired(run).runs
    assert "no fuse: the series ends at 300 A" in one.rule
    assert "next standard size" not in one.rule
    assert one.fuse_words == ""


def test_a_cable_that_no_gauge_matches_has_none():
    # NFPA 70 310.16, from memory: 4/0 carries 195 A at 60 C, less than a fuse of 200 A.
    run = {"from": "a", "to": "b", "length_m": 1, "volts": 12, "amps": 150, "terminals_c": 60}
    answer = wired(run)
    assert (answer.runs[0].fuse_a, answer.runs[0].mm2, answer.runs[0].awg) == (200.0, 95.0, None)
    assert answer.runs[0].fits
    assert " - " in shown(answer)


@pytest.mark.parametrize(
    ("run", "words"),
    [
        # NFPA 70 310.16 at 60 C, from memory: AWG 2 carries 95 A, AWG 1 110 A.
        ({"mm2": 33.6, "amps": 80, "length_m": 1}, "take AWG 1"),
        # 100 A over 10 m there and back at 60 C, 12 V: 3 % are 3.6 mohm, 17.241 x 1.157 x 20 / mm2
        # makes 111 mm2, more than 4/0; 5 % are 66.5 mm2, AWG 2/0.
        ({"mm2": 33.6, "amps": 100, "length_m": 10, "allowed_drop_percent": 5}, "take AWG 2/0"),
        ({"mm2": 2.5, "amps": 80, "length_m": 1}, "take 25 mm2"),  # 101 A, IEC 60364-5-52
    ],
)
def test_a_gauge_is_answered_with_a_thicker_gauge(run, words):
    answer = wired({"from": "battery", "to": "winch", "volts": 12, **run})
    assert all(words in note for note in answer.notes if note.startswith("run 1"))
    assert any(words in note for note in answer.notes)
