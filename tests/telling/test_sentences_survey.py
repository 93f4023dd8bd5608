"""Sentences about submitted sessions: the numbers of the result, honest without ages, never nan."""

import numpy as np
import pandas as pd
import pytest
from report_rules import faults_of_words

from analysis.basics import NotYet, format_percent
from analysis.survey import answer_survey
from analysis.telling.survey import sentences as say
from analysis.telling.survey import tables

FUNCTIONS = [
    f for part in (say, tables) for n, f in vars(part).items()
    if n.startswith(("plain_", "tabulate_", "may_say_", "write_up_")) and f.__module__ == part.__name__
]  # fmt: skip


def made_up(n=30, extra=12, seed=2):
    rng = np.random.default_rng(seed)
    ages = rng.integers(20, 40, n).astype(float)
    who = np.concatenate([np.arange(n), rng.integers(0, n, extra)])
    peak = rng.normal(0.91, 0.03, n)[who] * (211 - 0.64 * ages + rng.normal(0, 9, n))[who] - rng.uniform(0, 4, len(who))
    table = {
        "person": [f"p{i}" for i in who],
        "age_years": ages[who],
        "sex": "F",
        "minutes": 70.0,
        "session_kind": "class",
    }
    return pd.DataFrame(table | {"hr_mean_bpm": 0.78 * peak, "hr_peak_bpm": peak})


def everything(answer):
    texts = []
    for function in FUNCTIONS:
        told = function(answer)
        if isinstance(told, pd.DataFrame):
            told = [str(v) for v in told.to_numpy().ravel() if v != ""]
        texts += told if isinstance(told, list) else [told or ""]
    return "\n".join(texts)


ROUND = {"finding": "a paper", "statistic": "mean", "round_no": 1, "spread": 5, "spread_kind": "sd", "n_athletes": 9}
PUBLISHED = pd.DataFrame(
    ROUND | {"outcome": outcome, "value": value, "work_s": 120, "source": "s"}
    for outcome, value in (("percent_hr_max", 90), ("hr_mean_bpm", 172))
)


@pytest.mark.parametrize(
    "change",
    [
        {}, {"age_years": np.nan}, {"hr_peak_bpm": np.nan}, {"hr_mean_bpm": np.nan}, {"minutes": np.nan}, {"sex": ""},
        {"session_kind": ""}, {"device_kind": "chest_strap"},
    ],
)  # fmt: skip
@pytest.mark.parametrize("published", [None, PUBLISHED])
def test_no_forbidden_words_whatever_is_missing(change, published):
    answer = answer_survey(made_up().assign(**change), published=published, n_simulations=40)
    assert not faults_of_words(everything(answer))


@pytest.mark.parametrize("rows", [1, 2, 5])
def test_tiny_surveys_are_told_without_slips(rows):
    assert not faults_of_words(everything(answer_survey(made_up().head(rows), n_simulations=40)))


def test_the_plain_sentence_holds_the_share_with_its_range():
    answer = answer_survey(made_up(), n_simulations=100)
    at, text = answer.headline(), say.plain_survey(answer)
    told_apart = format_percent(at["centre"]) != format_percent(at["estimate"])
    assert ("Taken as exact" in text) == told_apart  # one number is said once
    assert (
        f"the peaks of {format_percent(at['centre'])} of people's sessions lie at or above 90\N{NO-BREAK SPACE}%"
        in text
    )
    assert f"to {format_percent(at['high'])}" in text and format_percent(at["estimate"]) in text
    assert "30 people, each person counted once" in text


def test_the_kind_that_was_asked_about_is_told_first():
    table = pd.concat([made_up().assign(session_kind="class"), made_up(seed=1).assign(session_kind="sparring")])
    table["person"] += table["session_kind"]
    answer = answer_survey(table, n_simulations=60)
    text = say.plain_survey(answer)
    first, second = answer.kinds.to_dict("records")
    assert text.startswith("In a typical sparring session")
    assert f"the peaks of {format_percent(first['centre'])} of people's sparring sessions" in text
    assert f"Of class sessions ({second['n_sessions']}) it is {format_percent(second['centre'])}" in text


def test_without_ages_a_range_is_told_and_no_share():
    answer = answer_survey(made_up().assign(age_years=np.nan), n_simulations=40)
    text = say.plain_survey(answer)
    assert "If all were 18" in text and "if all were 55" in text and "Most likely" not in text
    assert "no age was known" in "\n".join(say.write_up_survey(answer))


def test_what_a_survey_cannot_show_is_said_with_the_reason():
    text = say.may_say_survey(answer_survey(made_up(), n_simulations=40)).split("May not be said")[1]
    for words in ("fitter", "oxygen", "one person", "chose to", "without a recording"):
        assert words in text


def test_the_least_error_is_told_from_the_result():
    answer = answer_survey(made_up(), n_simulations=40, equation="gellish_2007")
    text = "\n".join(say.write_up_survey(answer))
    assert "Gellish 2007" in text and "8.0\N{NO-BREAK SPACE}bpm" in text and "7\N{NO-BREAK SPACE}bpm" in text


@pytest.mark.parametrize("function", [f for f in FUNCTIONS if not f.__name__.startswith("tabulate_")])
def test_not_yet_passes_through(function):
    assert function(NotYet("the survey", "a table survey.csv")) in (
        None,
        [],
        "Not yet: the survey needs a table survey.csv.",
    )
