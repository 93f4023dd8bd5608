"""Sliders of the planning notebook: they start where the answer stands, follow, and say what cannot be."""

import gc
import time

import pytest

from analysis.basics import NotYet
from analysis.notebook.sliders import QUESTIONS, _new_figure, curves_of, picture_of, planning_sliders
from analysis.planning import answer_design


@pytest.fixture(scope="module")
def answer():
    return answer_design(4, n=12)


@pytest.fixture
def box(answer):
    return planning_sliders(answer)


def controls(box):
    return {pair.children[1].tooltip.split(" (")[0]: pair.children[1] for pair in box.children[0].children}


def test_they_start_where_the_answer_stands(box, answer):
    start = controls(box)
    assert start["Athletes who start"].value == answer.n_to_recruit == 13  # so that 12 finish, as the answer says
    assert start["Rounds"].value == 4
    assert start["Expected"].value == answer.assumptions.heart_rate.rise
    picture, words = box.children[1:]
    assert bytes(picture.value)[:4] == b"\x89PNG"
    assert "5.0\xa0bpm" in words.value


def test_a_collection_does_not_walk_over_all_imports_in_the_middle_of_a_move(answer):
    gc.unfreeze()  # what the suite froze
    planning_sliders(answer)
    assert gc.get_freeze_count() > 10_000


def test_a_move_changes_picture_and_words(box):
    picture, words = box.children[1:]
    before = bytes(picture.value), words.value
    controls(box)["Athletes who start"].value = 30
    assert bytes(picture.value) != before[0]
    assert words.value != before[1]


def test_another_question_brings_its_own_units(box, answer):
    controls(box)["Question"].value = ("lactate", "change")
    now = controls(box)
    assert "mmol/L" in now["Smallest that matters"].tooltip
    assert now["Smallest that matters"].value == 1.0
    assert now["Scatter in an athlete"].value == answer.assumptions.lactate.sd_within
    controls(box)["Question"].value = ("heart_rate", "slope")
    expected = -answer.assumptions.heart_rate.slope * answer.design.capacity_step
    assert controls(box)["Expected"].value == pytest.approx(expected)


def test_published_ranges_stand_beside_the_sliders(box):
    notes = {pair.children[1].tooltip.split(" (")[0]: pair.children[2] for pair in box.children[0].children}
    assert "7.0 to 22.0 bpm" in notes["Expected"].value
    assert "no published value" in notes["Scatter in an athlete"].value
    controls(box)["Question"].value = ("lactate", "change")
    assert "2.0 to 4.4 mmol/L" in notes["Expected"].value


def test_what_cannot_be_is_said_instead_of_drawn(box):
    controls(box)["Question"].value = ("heart_rate", "slope")
    controls(box)["Expected"].value = 25.0
    assert "sd_between" in box.children[2].value or "%" in box.children[2].value
    controls(box)["Expected"].value = 5.0
    assert "would show" in box.children[2].value


@pytest.mark.parametrize("question", list(QUESTIONS.values()))
def test_every_question_has_curves(answer, question):
    curves = curves_of(answer, {"question": question, "n": 17, "rounds": 3, "leave": 10})
    assert (curves.outcome, curves.part) == question
    assert curves.n_left == int(17 * 0.81)
    png, alt = picture_of(curves)
    assert png[:4] == b"\x89PNG"
    assert "17" not in alt or str(curves.n_left) in alt


def test_not_yet_passes_through():
    missing = NotYet("planning", "a protocol")
    assert planning_sliders(missing) is missing


def test_a_move_draws_on_the_figure_of_the_last_one_and_looks_as_if_it_did_not():
    answer = answer_design(4, n=12)
    asked = [("heart_rate", "change"), ("lactate", "correlation"), ("heart_rate", "plateau")]
    moves = [curves_of(answer, {"question": q, "n": n}) for q in asked for n in (8, 20)]
    fresh = []
    for move in moves:
        _new_figure.cache_clear()
        fresh.append(picture_of(move))
    assert [picture_of(move) for move in moves] == fresh


def test_a_move_takes_less_than_a_tenth_of_a_second(box):
    """Of the processor, the median of a few moves: the aim is a picture that follows the hand."""
    athletes, spent = controls(box)["Athletes who start"], []
    for n in (9, 14, 10, 18, 11, 20, 13):
        start = time.process_time()
        athletes.value = n
        spent.append(time.process_time() - start)
    assert sorted(spent)[len(spent) // 2] < 0.1
