"""Pictures of a training study keep the rules of every figure, and draw what the result holds."""

import numpy as np
import pandas as pd
import pytest
from figure_rules import faults_of

from analysis.telling.training import figures as draw
from analysis.training.before_after import before_after


@pytest.fixture(scope="module")
def answer(demo_training):
    return demo_training.training()


def test_every_picture_of_a_training_study_keeps_the_rules(answer):
    pictures = draw.training_pictures(answer)
    keys = [p.key for p in pictures]
    assert keys[0] == "training_effects" and len(set(keys)) == len(keys)
    codes = tuple(answer.adherence.athletes["athlete"])
    assert {p.key: f for p in pictures if (f := faults_of(p.draw(), codes=codes))} == {}


def test_the_lines_lie_as_far_apart_as_the_effect(answer):
    one = answer.outcomes["capacity"]
    lines = [line for line in draw.draw_lines(one).axes[0].lines if len(line.get_xdata()) == 2]
    control, trained = (np.asarray(line.get_ydata(), dtype=float) for line in lines[1:])
    assert trained - control == pytest.approx([one.main.estimate] * 2)


def test_one_group_alone_is_drawn_with_the_error_of_the_test():
    rng = np.random.default_rng(1)
    values = pd.DataFrame(
        [
            {"athlete": f"A{i}", "phase": phase, "occasion": k, "value": 50 + i + rng.normal(0, 1)}
            for i in range(8)
            for phase, k in (("pre", 1), ("pre", 2), ("post", 1))
        ]
    )
    one = before_after(values, outcome="capacity", label="Aerobic capacity", unit="mL/kg/min")
    figure = draw.draw_athletes(one)
    assert faults_of(figure) == []
    assert "error of the test" in figure.alt_text
