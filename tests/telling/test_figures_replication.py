"""Pictures of ours beside published numbers: what is drawn is what the result holds, with words for who cannot see it."""

from types import SimpleNamespace

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest

from analysis.replication import answer_replication
from analysis.rounds import answer_rounds
from analysis.study import Protocol
from analysis.telling.published.figures import draw_forest, draw_profiles


@pytest.fixture(scope="module")
def answer():
    numbers = {"estimate": -0.2, "ci_low": -0.65, "ci_high": 0.35, "p": 0.5, "n_athletes": 14}
    line = SimpleNamespace(correlations=pd.DataFrame([{"analysis": "Pearson"} | numbers]))
    rng = np.random.default_rng(1)
    level = rng.normal(0, 8, 9)
    values = [(f"A{i}", r, 160 + 4 * r + level[i] + rng.normal(0, 3)) for i in range(9) for r in (1, 2, 3)]
    table = pd.DataFrame(values, columns=["athlete", "round_no", "hr_mean_bpm"])
    rounds = {"hr_mean_bpm": answer_rounds(table, "hr_mean_bpm", smallest_effect=5)}
    r = {"statistic": "r", "source": "invented", "n_athletes": 12}
    mean = {"outcome": "hr_mean_bpm", "statistic": "mean", "n_athletes": 9, "source": "invented"}
    long_name = "three with a very long name that has to be wrapped somewhere"
    published = [
        {"finding": "one", "outcome": "hr_mean_bpm", "value": -0.6} | r,
        {"finding": "two", "outcome": "hr_mean_bpm", "value": -0.4} | r,
        {"finding": long_name, "outcome": "lactate_mmol_l", "value": 0.3} | r,
        {"finding": "no spread", "round_no": 1, "value": 170} | mean,
    ]
    for k in (1, 2, 3, 4):
        about = {"finding": "a paper with means", "round_no": k, "value": 158 + 5 * k}
        published.append(about | {"spread": 9, "spread_kind": "sd"} | mean)
    published = pd.DataFrame(published)
    fitness = {"hr_mean_bpm": line, "lactate_mmol_l": line}
    return answer_replication(published, fitness, rounds, Protocol(3, 300.0, 60.0))


def test_the_forest_draws_every_correlation_with_what_was_to_be_expected(answer):
    figure = draw_forest(answer)
    axes = figure.axes[0]
    labels = [t.get_text().replace("\n", " ") for t in axes.get_yticklabels()]
    assert sum("to be expected" in t for t in labels) == 3 and sum(t.startswith("ours") for t in labels) == 2
    assert sum(t.startswith("together") for t in labels) == 2
    texts = [t.get_text() for t in axes.texts]
    assert any("−0.60" in t for t in texts) and len(texts) == len(labels)
    assert axes.get_xlim()[0] <= -1 and axes.get_xlim()[1] >= 1
    assert "−0.60 (one)" in figure.alt_text and "nan" not in figure.alt_text


def test_the_profile_draws_published_rounds_that_we_lack_too(answer):
    figure = draw_profiles(answer)
    panel = figure.axes[0]
    assert [t.get_text() for t in panel.get_xticklabels()] == ["1", "2", "3", "4"]
    assert panel.get_ylabel() == "Mean heart rate (bpm)"
    assert "round 1" in figure.alt_text and "nan" not in figure.alt_text


def test_nothing_to_draw_gives_no_picture():
    empty = answer_replication(pd.DataFrame(), {}, {}, Protocol(3, 300.0, 60.0))
    assert draw_forest(empty) is None and draw_profiles(empty) is None


def test_given_axes_are_drawn_on_and_pictures_save(answer, tmp_path):
    figure, axes = plt.subplots()
    assert draw_forest(answer, ax=axes) is figure
    plt.close(figure)
    figure, axes = plt.subplots()
    assert draw_profiles(answer, ax=axes) is figure
    plt.close(figure)
    for draw in (draw_forest, draw_profiles):
        draw(answer).savefig(tmp_path / "a.svg")
