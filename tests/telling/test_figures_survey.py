"""Pictures of submitted sessions: what is drawn is what the result holds; no colours for intensity; words beside."""

import re

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest

from analysis.survey import answer_survey
from analysis.telling.survey import figures as draw

DRAWINGS = (draw.draw_sessions, draw.draw_distribution, draw.draw_equations, draw.draw_bands)


def made_up(n=30, extra=10, age=True):
    rng = np.random.default_rng(2)
    ages = rng.integers(20, 40, n).astype(float)
    who = np.concatenate([np.arange(n), rng.integers(0, n, extra)])
    peak = rng.normal(0.91, 0.03, n)[who] * (211 - 0.64 * ages + rng.normal(0, 9, n))[who] - rng.uniform(0, 4, len(who))
    table = {"person": [f"p{i}" for i in who], "age_years": ages[who] if age else np.nan, "sex": "F", "minutes": 70}
    return pd.DataFrame(table | {"hr_mean_bpm": 0.78 * peak, "hr_peak_bpm": peak})


@pytest.fixture(scope="module")
def answer():
    return answer_survey(made_up(), n_simulations=100)


def test_sessions_are_ranked_by_peak_and_reach_from_mean_to_peak(answer):
    axes = draw.draw_sessions(answer).axes[0]
    points = {line.get_label(): line.get_xdata() for line in axes.lines}
    assert len(points["peak"]) == answer.n_sessions and (np.diff(points["peak"]) >= 0).all()
    assert (points["mean"] < points["peak"]).all() and points["peak"].max() <= 100
    assert "40 sessions" in axes.get_ylabel()


def test_of_many_sessions_a_selection_along_the_ranking_is_drawn():
    many = answer_survey(made_up(n=400, extra=0), n_simulations=20)
    axes = draw.draw_sessions(many).axes[0]
    assert f"{draw.MOST_LINES} of 400" in axes.get_ylabel()


def test_the_distribution_falls_and_its_bands_hold_the_middle(answer):
    axes = draw.draw_distribution(answer).axes[0]
    middle = [line for line in axes.lines if line.get_label().endswith("most likely")]
    assert len(middle) == 2
    for line in middle:
        assert (np.diff(line.get_ydata()) <= 1e-9).all()
    rows = answer.curve.dropna()
    assert (rows["low"] <= rows["centre"] + 1e-9).all() and (rows["centre"] <= rows["high"] + 1e-9).all()


def test_every_equation_has_a_line(answer):
    labels = [t.get_text() for t in draw.draw_equations(answer).axes[0].get_yticklabels()]
    assert len(labels) == answer.equations["equation"].nunique() and any("−" in t for t in labels)
    assert not any("^2" in t for t in labels)


@pytest.mark.parametrize("drawing", DRAWINGS)
def test_every_picture_has_words_and_saves(drawing, answer, tmp_path):
    figure = drawing(answer)
    assert len(figure.alt_text) > 60 and "nan" not in figure.alt_text and "not available" not in figure.alt_text
    figure.savefig(tmp_path / "a.svg")
    own, axes = plt.subplots()
    assert drawing(answer, ax=axes) is own
    plt.close(own)


@pytest.mark.parametrize("drawing", DRAWINGS)
def test_without_ages_there_is_nothing_to_draw(drawing):
    assert drawing(answer_survey(made_up(age=False), n_simulations=20)) is None


@pytest.mark.parametrize("column", ["hr_mean_bpm", "hr_peak_bpm"])
@pytest.mark.parametrize("drawing", DRAWINGS)
def test_with_only_means_or_only_peaks(drawing, column):
    figure = drawing(answer_survey(made_up().drop(columns=column), n_simulations=20))
    assert figure is None or not re.search("nan|not available", figure.alt_text)
