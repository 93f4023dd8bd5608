"""Pictures for planning show the tables they are given, with units and words."""

import numpy as np
import pytest

from analysis.planning import Assumptions, answer_design, make_timetable, power_curves, simulate_grid, simulate_studies
from analysis.study import Protocol
from analysis.telling.planning.figures import (
    draw_assumptions,
    draw_design,
    draw_grid,
    draw_power_and_precision,
    draw_power_curves,
    draw_precision,
    draw_simulated,
    draw_timetable,
)
from analysis.telling.style import new_axes

EVENING = Protocol(4, 300.0, 120.0)


def texts(figure):
    for ax in figure.axes:
        yield from (ax.xaxis.label, ax.yaxis.label)
        for axis in (ax.xaxis, ax.yaxis):
            low, high = sorted(axis.get_view_interval())
            for place, label in zip(axis.get_majorticklocs(), axis.get_ticklabels(), strict=False):
                if low <= place <= high:
                    yield label


def inside(figure):
    """No text of the axes leaves the picture."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    FigureCanvasAgg(figure).draw()
    box = figure.bbox
    for text in texts(figure):
        if text.get_visible() and text.get_text():
            extent = text.get_window_extent()
            assert extent.x0 >= box.x0 - 1 and extent.x1 <= box.x1 + 1, text.get_text()
            assert extent.y0 >= box.y0 - 1 and extent.y1 <= box.y1 + 1, text.get_text()
    assert "nan" not in figure.alt_text and len(figure.alt_text) > 40


@pytest.mark.parametrize("part", ["change", "steps", "plateau", "slope", "correlation"])
@pytest.mark.parametrize("outcome", ["heart_rate"])
def test_curves_show_every_size(part, outcome):
    curves = power_curves({"n": 12}, part=part, outcome=outcome)
    figure = draw_power_curves(curves)
    ax = figure.axes[0]
    assert list(ax.lines[0].get_xdata()) == list(curves.table["n"])
    assert np.allclose(ax.lines[0].get_ydata(), 100 * curves.table["power_smallest"])
    assert "%" in ax.get_ylabel()
    markers = {line.get_marker() for line in ax.lines if len(line.get_xdata()) > 2}
    assert len(markers) == (1 if part == "plateau" else 2)
    inside(figure)
    both = draw_power_and_precision(curves)
    assert both.alt_text.startswith("Left:") and "Right:" in both.alt_text
    inside(both)
    width = draw_precision(curves)
    if curves.unit:
        assert curves.unit in width.axes[0].get_ylabel().replace("\n", " ")
    inside(width)


def test_a_size_outside_the_curves_is_said():
    figure = draw_power_curves(power_curves({"n": 90}))
    assert "outside the picture" in figure.alt_text
    assert "no finite width" in draw_precision(power_curves({"n": 90})).alt_text


def test_every_question_of_a_design_has_its_marks_and_words():
    answer = answer_design(4, n=12)
    figure = draw_design(answer)
    labels = [t.get_text() for t in figure.axes[0].get_yticklabels()]
    assert len(labels) == len(answer.questions)
    smallest = next(line for line in figure.axes[0].lines if line.get_marker() == "o")
    assert np.allclose(smallest.get_xdata(), 100 * answer.questions["power_smallest"].iloc[::-1])
    inside(figure)


def test_assumptions_show_mean_and_spread():
    figure = draw_assumptions(Assumptions(), 5)
    assert "bpm" in figure.axes[0].get_ylabel()
    inside(figure)


def test_simulated_studies_and_grids():
    simulated = simulate_studies({"n": 8}, n_studies=100)
    figure = draw_simulated(simulated)
    assert len(figure.axes[0].get_yticklabels()) == len(simulated.power)
    inside(figure)
    grid = simulate_grid([{"n": 8}, {"n": 12}], {"one": None, "two": {"shape": "creeps"}}, n_studies=60, n_jobs=1)
    figure = draw_grid(grid)
    assert [t.get_text() for t in figure.axes[0].get_legend().get_texts()] == ["one", "two"]
    inside(figure)


@pytest.mark.parametrize("start", ["common", "staggered"])
def test_the_timetable_shows_rounds_and_samples(start):
    timetable = make_timetable(EVENING, athletes=9, start=start)
    figure = draw_timetable(timetable)
    assert len(figure.axes[0].collections) == len(timetable.mats)
    marks = sum(len(line.get_xdata()) for line in figure.axes[0].lines)
    assert marks == len(timetable.slots)
    inside(figure)


def test_pictures_go_into_given_axes():
    figure, ax = new_axes()
    assert draw_power_curves(power_curves({"n": 12}), ax=ax) is figure
    assert draw_timetable(make_timetable(EVENING, athletes=4), ax=ax) is figure
