"""The one formatter never writes nan, a minus zero, or p = 0."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.basics import (
    KitError,
    NotYet,
    check_choice,
    format_ci,
    format_number,
    format_p,
    join_words,
    left_out_table,
)
from analysis.basics.words import format_df


@given(st.floats(allow_nan=True, allow_infinity=True), st.integers(0, 4))
def test_numbers_read_well(value, digits):
    text = format_number(value, digits)
    assert "nan" not in text and "inf" not in text
    assert not (text.startswith("\N{MINUS SIGN}") and float(text[1:].replace("\N{MINUS SIGN}", "-")) == 0)
    assert "-" not in text


@given(st.floats(0, 1))
def test_p_is_never_zero_and_keeps_three_decimals(p):
    text = format_p(p)
    assert text in ("< .001", "> .999") or abs(float(text[2:]) - p) <= 0.00051


def test_missing_values_are_said():
    assert format_p(math.nan) == format_number(math.nan) == format_df(math.nan) == "not available"
    assert format_ci(-math.inf, 2.04, 1) == "unbounded to 2.0"


def test_rounding_to_zero_loses_its_sign():
    assert format_number(-0.004, 2) == "0.00"
    assert format_number(0.0, 1, sign=True) == "0.0"
    assert format_number(2.25, 1, sign=True, unit="bpm") == "+2.2\N{NO-BREAK SPACE}bpm"


def test_words_join_as_in_a_sentence():
    assert join_words([]) == "" and join_words(["a"]) == "a" and join_words(["a", "b"], "or") == "a or b"


def test_a_wrong_choice_names_the_nearest():
    with pytest.raises(KitError, match="Did you mean 'spearman'"):
        check_choice("spearmen", ["pearson", "spearman"], name="method")


def test_not_yet_is_false_and_says_what_it_needs():
    answer = NotYet("the comparison", "a row in published.csv")
    assert not answer and str(answer) == "Not yet: the comparison needs a row in published.csv."


def test_left_out_rows_say_who_decided():
    table = left_out_table([{"athlete": "A07", "reason": "no test"}, {"reason": "withdrew", "decided_by": "person"}])
    assert list(table["decided_by"]) == ["rule", "person"] and table.loc[1, "athlete"] == ""


def test_the_noise_of_computing_does_not_decide_a_tie():
    assert format_number(153.75, 1) == format_number(153.74999999999997, 1) == "153.8"
    assert format_number(0.1 + 0.2 - 0.05, 1) == format_number(0.25, 1)
