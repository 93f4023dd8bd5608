"""Sentences about published findings: right for every verdict, honest about small numbers, never nan or "no difference"."""

import itertools
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from report_rules import faults_of_words

from analysis.basics import NotYet, format_number
from analysis.replication import answer_replication
from analysis.rounds import answer_rounds
from analysis.study import Protocol
from analysis.telling.published import sentences as say
from analysis.telling.published.tables import (
    comparison_table,
    evidence_table,
    profiles_table,
    protocols_table,
    steps_table,
    tabulate_example,
    tabulate_left_out,
)

PLAIN = (say.plain_correlations, say.plain_profiles, say.plain_protocols, say.may_say_replication)
TABLES = (comparison_table, profiles_table, steps_table, protocols_table)
PROTOCOL = Protocol(3, 300.0, 60.0)


def ours(r, n=15, outcome="hr_mean_bpm"):
    half = 1.96 / np.sqrt(n - 3)
    low, high = np.tanh(np.arctanh(r) - half), np.tanh(np.arctanh(r) + half)
    line = {"analysis": "Pearson", "estimate": r, "ci_low": low, "ci_high": high, "p": 0.2, "n_athletes": n}
    slope = {"estimate": -0.5, "standard_error": 0.3, "ci_low": -1.1, "ci_high": 0.1, "df": n - 2.0}
    fit = SimpleNamespace(**slope, unit="mL/kg/min", adjusted_for=())
    return {outcome: SimpleNamespace(correlations=pd.DataFrame([line, line | {"analysis": "Spearman"}]), planned=fit)}


def published(r, n=12, **more):
    row = {
        "finding": "a paper",
        "outcome": "hr_mean_bpm",
        "statistic": "r",
        "value": r,
        "n_athletes": n,
        "source": "Author 2020",
    }
    return row | more


def compare(*rows, fitness=None, rounds=None, **more):
    return answer_replication(pd.DataFrame(rows), fitness or {}, rounds or {}, PROTOCOL, **more)


def everything(answer):
    texts = [f(answer) for f in PLAIN] + say.write_up_replication(answer)
    return "\n".join(texts + [cells(f(answer)) for f in TABLES])


def cells(table):
    table = getattr(table, "shown", table)
    return (
        "\n".join(str(v) for v in table.to_numpy().ravel() if v != "")
        if isinstance(table, pd.DataFrame)
        else str(table or "")
    )


@pytest.mark.parametrize(
    ("r", "r_new"), list(itertools.product((-0.95, -0.6, -0.05, 0.0, 0.3, 0.9), (-0.9, -0.3, 0.0, 0.4, 0.97)))
)
def test_no_forbidden_words_for_any_pair(r, r_new):
    answer = compare(published(r), fitness=ours(r_new))
    assert not faults_of_words(everything(answer))


def test_a_small_study_says_that_almost_anything_would_have_fitted():
    answer = compare(published(-0.6), fitness=ours(-0.2, n=16))
    c = answer.correlations[0]
    text = say.plain_correlations(answer)
    span = f"{format_number(c.prediction_low, 2)} to {format_number(c.prediction_high, 2)}"
    assert f"with 16 athletes, anything from {span} would have fitted" in text
    assert "Our own data alone cannot tell whether there is a relation." in text
    assert "That we confirmed it" in say.may_say_replication(answer).split("May not be said")[1]


@pytest.mark.parametrize(
    ("r", "r_new", "words"),
    [(-0.6, 0.5, "in our club fitter athletes were higher, in the paper lower"),
     (-0.9, -0.1, "weaker than chance explains"), (0.4, 0.97, "stronger than chance explains"),
     (-0.6, -0.55, "The two fit: we expected")],
)  # fmt: skip
def test_the_verdict_in_words(r, r_new, words):
    text = say.plain_correlations(compare(published(r, n=50), fitness=ours(r_new, n=50)))
    assert words in text and "says little" not in text


def test_a_signal_in_the_published_direction_and_one_against_it():
    along, against = (
        compare(published(-0.5), fitness=ours(-0.8, n=30)),
        compare(published(-0.1), fitness=ours(0.7, n=30)),
    )
    assert "show a relation in the same direction" in say.plain_correlations(along)
    assert "a relation in the other direction" in say.plain_correlations(against)


def test_the_write_up_holds_the_numbers_of_the_result():
    answer = compare(published(-0.6), fitness=ours(-0.2, n=16))
    c, text = answer.correlations[0], say.write_up_replication(answer)[0]
    for value in (c.r, c.r_new, c.prediction_low, c.prediction_high, c.smallest_detectable_r):
        assert format_number(value, 2) in text
    assert "n = 12" in text and "n = 16" in text
    evidence = evidence_table(answer).shown.iloc[0]
    for value, column in ((c.combined, "Both together"), (c.q_cohen, "Cohen's q"), (c.q_cochran, "Q(1)")):
        assert format_number(value, 2, sign=column == "Cohen's q") in evidence[column]
    assert comparison_table(answer).shown["Our r (n)"].item() == f"{format_number(c.r_new, 2)} (16)"


def test_three_papers_are_combined_with_what_another_study_would_show():
    answer = compare(*(published(r, finding=f) for r, f in ((-0.6, "a"), (-0.5, "b"), (0.1, "c"))), fitness=ours(-0.3))
    text = "\n".join(say.write_up_replication(answer))
    assert "4 correlations" in text and "combine to" in text
    assert not faults_of_words(text)


def test_a_bound_on_p_is_told_as_what_it_is():
    answer = compare(published(np.nan, p=0.05, p_is_bound="yes"), fitness=ours(-0.3))
    text = say.plain_correlations(answer)
    assert "0.58 or more, either way" in text and "is below that in size" in text
    assert not faults_of_words(everything(answer))


def test_means_slopes_and_missing_spread():
    rng = np.random.default_rng(2)
    level = rng.normal(0, 8, 10)
    values = [(f"A{i}", r, 160 + 4 * r + level[i] + rng.normal(0, 3)) for i in range(10) for r in (1, 2, 3)]
    table = pd.DataFrame(values, columns=["athlete", "round_no", "hr_mean_bpm"])
    rounds = {"hr_mean_bpm": answer_rounds(table, "hr_mean_bpm", smallest_effect=5)}
    mean = {"outcome": "hr_mean_bpm", "statistic": "mean", "n_athletes": 9, "source": "s", "work_s": 120.0}
    answer = compare(
        *(mean | {"finding": "high", "round_no": k, "value": 190, "spread": 6, "spread_kind": "sd"} for k in (1, 2)),
        mean | {"finding": "bare", "round_no": 1, "value": 165},
        published(-0.8, statistic="slope", ci_low=-1.2, ci_high=-0.4),
        rounds=rounds, fitness=ours(-0.3), sport="wrestling",
    )  # fmt: skip
    text = everything(answer)
    assert "below by" in text and "gives no spread" in text
    assert "was not shown to differ from that of" in text and "Other rounds or rests make another study" in text
    assert not faults_of_words(text)


def test_nothing_comparable_is_said_so():
    answer = compare(published(-0.5))
    assert (
        "We could set no published relation with fitness beside ours" in say.plain_correlations(answer)
        and say.write_up_replication(answer) == []
    )
    assert "we have no correlation" in tabulate_left_out(answer)["reason"].item()


@pytest.mark.parametrize("function", [*PLAIN, say.write_up_replication])
def test_not_yet_passes_through(function):
    told = function(NotYet("the comparison", "a row in published.csv"))
    assert told in (None, [], "Not yet: the comparison needs a row in published.csv.")


def test_the_example_to_copy_names_its_sources():
    from analysis.physiology import published_example

    table = tabulate_example(published_example())
    assert (table["source"] != "").all() and (table["n_athletes"] != "").all() and len(table) > 20
    assert not faults_of_words(cells(table.drop(columns="source")))


def test_the_table_of_protocols_shows_every_aspect_that_was_compared():
    answer = compare(published(-0.5, clothing="jacket"), fitness=ours(-0.3), sport="wrestling")
    shown = protocols_table(answer).shown
    assert len(shown) == answer.protocols["aspect"].nunique() and "clothing" in set(shown["Aspect"])
