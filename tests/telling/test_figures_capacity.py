"""The pictures of the fitness question show the numbers of the answer, hide codes, and survive odd answers."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from analysis.capacity import answer_capacity
from analysis.capacity.correlation import correlation_levels
from analysis.telling.fitness.figures import (
    draw_capacity,
    draw_error_correction,
    draw_influence,
    draw_levels,
    draw_slopes,
    draw_specifications,
)

_spec = importlib.util.spec_from_file_location(
    "capacity_club", Path(__file__).parents[1] / "capacity" / "capacity_club.py"
)
_module = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_module)
make_club = _module.make_club
DRAWN = (draw_capacity, draw_slopes, draw_influence, draw_error_correction, draw_specifications)


def answer(made, outcome="hr_mean_bpm", smallest_effect=5.0):
    rows, capacity, athletes = made
    return answer_capacity(rows, capacity, athletes, outcome, smallest_effect=smallest_effect)


@pytest.fixture(scope="module")
def mixed():
    return answer(make_club(n=14, women=5, age_spread=6, missing=0.05))


@pytest.fixture(scope="module")
def four():
    return answer(make_club(n=4))


def texts(figure):
    return " ".join(t.get_text() for t in figure.findobj(lambda a: hasattr(a, "get_text")))


def test_points_line_and_band_are_those_of_the_answer(mixed):
    raw, axes = draw_capacity(mixed).axes
    for panel, column in ((raw, "outcome"), (axes, "outcome_adjusted")):
        drawn = [line.get_ydata() for line in panel.lines if str(line.get_label()).startswith(("women", "men"))]
        assert sorted(np.concatenate(drawn)) == pytest.approx(sorted(mixed.points[column]))
    assert f"n {mixed.n_athletes}" in axes.texts[0].get_text()
    line = next(line for line in axes.lines if line.get_label() == "planned line")
    assert line.get_ydata().tolist() == mixed.line["estimate"].tolist()
    assert "maximal heart rate and sex" in axes.get_ylabel()


@pytest.mark.parametrize("draw", DRAWN)
@pytest.mark.parametrize("which", ["mixed", "four"])
def test_every_figure_draws_with_alt_text_and_without_codes(draw, which, request):
    found = request.getfixturevalue(which)
    figure = draw(found)
    figure.canvas.draw()
    assert figure.alt_text.endswith(".")
    assert "nan" not in figure.alt_text.split()
    assert not set(found.points["athlete"]) & set(texts(figure).split())
    width = figure.get_size_inches()[0] * 25.4
    assert min(abs(width - 85), abs(width - 170)) < 0.1


def test_codes_are_shown_only_where_asked(mixed):
    for draw in (draw_capacity, draw_influence):
        assert "A01" in texts(draw(mixed, show_codes=True)).split()


def test_the_planned_analysis_is_marked_in_both_panels_of_the_chart(mixed):
    top, bottom = draw_specifications(mixed).axes
    order = mixed.specifications.table.loc[mixed.specifications.table["planned"], "order"].iloc[0]
    planned = next(line for line in top.lines if line.get_label() == "planned")
    assert planned.get_xdata().tolist() == [order]
    labels = [t.get_text() for t in bottom.get_yticklabels()]
    assert "Mean heart rate" in labels[labels.index("Outcome") : labels.index("Capacity in")], "below its heading"
    assert labels[-1] == "one athlete left out"
    rows, capacity, athletes = make_club(n=6)
    bare = answer_capacity(rows, capacity, athletes, "hr_mean_bpm", smallest_effect=5.0, chart=False)
    assert draw_specifications(bare) is None


def test_a_value_that_cannot_be_corrected_says_so():
    rows, capacity, athletes = make_club(n=8)
    found = answer((rows, capacity.assign(standard_error=capacity["capacity"].std() * 1.1), athletes))
    figure = draw_error_correction(found)
    assert "cannot be corrected (n = 8)" in texts(figure)
    assert "cannot be corrected" in figure.alt_text


def test_levels_call_the_pooled_panel_a_mistake():
    rows, _, _ = make_club(n=10)
    figure = draw_levels(correlation_levels(rows, "lactate_mmol_l", "hr_mean_bpm"))
    assert figure.axes[2].get_title(loc="left").startswith("The mistake")
    assert "answers neither question" in figure.alt_text
    one = draw_levels(
        correlation_levels(rows.assign(lactate_mmol_l=rows["round_no"] + 1.0), "lactate_mmol_l", "hr_mean_bpm")
    )
    one.canvas.draw()


def test_figures_can_be_drawn_on_given_axes(mixed):
    from analysis.telling.style import new_axes

    figure, axes = new_axes(width="double", columns=2)
    assert draw_capacity(mixed, ax=axes[0]) is figure
    assert draw_influence(mixed, ax=axes[1]) is figure
