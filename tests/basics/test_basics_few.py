"""No group of fewer than five, and none that sums and differences of the shown groups give."""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.basics import FEWEST_PEOPLE, rounded
from analysis.basics.few import groups_to_show, is_safe


def club(women, men, others=0):
    people = [("F", i) for i in range(women)] + [("M", i) for i in range(men)] + [("X", i) for i in range(others)]
    return {"all": people, "F": [p for p in people if p[0] == "F"], "M": [p for p in people if p[0] == "M"]}


@pytest.mark.parametrize(
    ("women", "men", "others", "shown"),
    [
        (1, 9, 0, ("all",)),  # all and men would give the one woman
        (5, 5, 0, ("all", "F", "M")),
        (4, 6, 0, ("all",)),
        (5, 5, 1, ("all", "F")),  # women, men and all would give the one who did not say
        (5, 5, 4, ("all", "F")),
        (5, 5, 5, ("all", "F", "M")),
        (2, 2, 0, ()),
        (0, 5, 0, ("all", "M")),
        (0, 0, 0, ()),
    ],
)
def test_sexes_of_a_club(women, men, others, shown):
    assert groups_to_show(club(women, men, others)) == shown


def test_differences_of_three_groups_are_found():
    a, b, c = set(range(0, 10)), set(range(5, 15)), set(range(0, 5)) | set(range(10, 16))
    assert is_safe([a, b]) and not is_safe([a, b, c, set(range(16))])
    assert not is_safe([set(range(10)), set(range(5)), set(range(5, 9))])


def test_nothing_is_withheld_that_nobody_can_work_out():
    # three people are in both groups, and no sum or difference of the two singles them out
    assert is_safe([range(10), range(7, 17)])
    # all together give what is in neither of the first two: a union of two small parts
    first, second = {f"a{i}" for i in range(8)}, {f"b{i}" for i in range(8)}
    for extra, safe in (({"x", "y"}, False), ({"x", "y", "z"}, True)):
        lone = {"p", "q"}
        assert is_safe([first | lone, second | extra, first | second]) is safe  # four people, or five


def test_numbers_that_are_passed_on_keep_four_digits():
    table = pd.DataFrame({"mean": [172.4321849, 0.0123456], "n": [12, 8]})
    assert rounded(table)["mean"].tolist() == [172.4, 0.01235] and rounded(table)["n"].tolist() == [12, 8]


@settings(max_examples=150, deadline=None)
@given(st.lists(st.sets(st.integers(0, 11)), min_size=1, max_size=4))
def test_no_small_sum_can_be_solved_for(groups):
    """Against least squares over people: a statistic of some people is known where their indicator is a combination."""
    names = {str(i): g for i, g in enumerate(groups)}
    shown = [names[n] for n in groups_to_show(names)]
    assert all(len(g) >= FEWEST_PEOPLE for g in shown)
    if not shown:
        return
    people = sorted(set().union(*shown))
    matrix = np.array([[p in g for p in people] for g in shown], dtype=float).T
    for weights in product((-2, -1, 0, 1, 2), repeat=len(shown)):
        total = matrix @ np.array(weights, dtype=float)
        if set(total) <= {0.0, 1.0} and total.any():
            assert total.sum() >= FEWEST_PEOPLE
