"""Structure of the pictures of the rounds: labels with units, marks, band, nothing outside, alt text."""

import numpy as np
import pandas as pd
import pytest

from analysis.basics import NotYet
from analysis.rounds import answer_rounds
from analysis.telling.rounds import figures as checks
from analysis.telling.rounds import figures as draw

CHOICES = ("draw_contrasts", "draw_plateau", "draw_checks", "draw_sensitivity")


def table(*, n=12, rounds=4, seed=0, missing=(), name="hr_mean_bpm", high=()):
    rng = np.random.default_rng(seed)
    rise = 10 * (1 - np.exp(-np.arange(rounds)))
    values = 165 + rise + rng.normal(0, 8, (n, 1)) + rng.normal(0, 3, (n, rounds))
    if name == "lactate_mmol_l":
        values = (values - 140) / 4
    data = pd.DataFrame(
        [(f"A{i + 1:02d}", j + 1, values[i, j]) for i in range(n) for j in range(rounds)],
        columns=["athlete", "round_no", name],
    )
    data["lactate_limit"] = ""
    index = pd.MultiIndex.from_frame(data[["athlete", "round_no"]])
    data.loc[index.isin(list(missing)), name] = np.nan
    data.loc[index.isin(list(high)), ["lactate_limit"]] = "high"
    data.loc[index.isin(list(high)), name] = np.nan
    return data


@pytest.fixture(scope="module")
def answer():
    data = table(missing=[("A01", 4), ("A02", 3)])
    before = table(seed=3).query("round_no == 1").assign(round_no=0, hr_mean_bpm=lambda d: d["hr_mean_bpm"] - 80)
    return answer_rounds(pd.concat([before, data]), "hr_mean_bpm", smallest_effect=5.0)


@pytest.fixture(scope="module")
def lactate():
    data = table(name="lactate_mmol_l", high=[("A05", 4)])
    return answer_rounds(data, "lactate_mmol_l", smallest_effect=1.0, limit=(0.5, 14.0))


def inside(figure):
    """Every text of the figure lies within it."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    size = figure.bbox
    texts = [t for axes in figure.axes for t in axes.texts]
    for axes in figure.axes:
        for axis, (low, high) in ((axes.xaxis, sorted(axes.get_xlim())), (axes.yaxis, sorted(axes.get_ylim()))):
            texts += [tick.label1 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high]
    texts += [t for legend in figure.legends for t in legend.get_texts()]
    for text in texts:
        if text.get_text():
            box = text.get_window_extent(canvas.get_renderer())
            assert box.x0 >= -1 and box.x1 <= size.x1 + 1 and box.y0 >= -1 and box.y1 <= size.y1 + 1, text.get_text()


def test_rounds_has_a_line_for_each_athlete_and_one_mean(answer):
    figure = draw.draw_rounds(answer)
    panel = figure.axes[0]
    assert panel.get_ylabel() == "Mean heart rate (bpm)" and panel.get_xlabel() == "Round"
    assert [t.get_text() for t in panel.get_xticklabels()] == [
        "before\nn 12",
        "1\nn 12",
        "2\nn 12",
        "3\nn 11",
        "4\nn 11",
    ]
    assert len(panel.containers) == 2  # mean of the rounds, and of what came before
    means = panel.containers[0].lines[0].get_ydata()
    assert len(means) == 4  # never joined to what came before sparring
    assert np.allclose(means, answer.comparison.means.query("tested")["estimate"])
    thin = [line for line in panel.lines if line.get_linewidth() < 1 and len(line.get_xdata()) > 1]
    assert len(thin) >= 12
    assert not panel.texts  # no codes
    assert "12 athletes" in figure.alt_text
    inside(figure)


def test_codes_only_when_asked(answer):
    figure = draw.draw_rounds(answer, show_codes=True)
    assert {t.get_text() for t in figure.axes[0].texts} == set(answer.rows["athlete"])


def test_small_multiples_leave_out_what_was_not_measured(answer, lactate):
    figure = draw.draw_rounds([answer, NotYet("exertion", "ratings"), lactate])
    assert [a.get_ylabel() for a in figure.axes] == ["Mean heart rate (bpm)", "Blood lactate (mmol/L)"]
    assert round(float(figure.get_size_inches()[0] * 25.4)) == 170
    assert "above the analyser's scale" in [t.get_text() for t in figure.legends[0].get_texts()]
    assert draw.draw_rounds([NotYet("a", "b")]) is None
    inside(figure)


def test_contrasts_show_both_methods_and_the_band(answer):
    figure = draw.draw_contrasts(answer)
    axes = figure.axes[0]
    assert [t.get_text() for t in axes.get_yticklabels()] == ["2 − 1", "3 − 2", "4 − 3", "4 − 1"]
    names = [t.get_text() for t in figure.legends[0].get_texts()]
    assert (
        "too small to matter" in names and any("Kenward-Roger" in n for n in names) and any("CR2" in n for n in names)
    )
    assert [t.get_text() for t in axes.texts] == answer.steps["label"].tolist()
    band = axes.patches[0].get_window_extent()
    assert band.width > 0
    assert "(bpm)" in axes.get_xlabel()
    inside(figure)


def test_plateau_fills_only_what_was_shown(answer):
    figure = draw.draw_plateau(answer)
    axes = figure.axes[0]
    points = [line for line in axes.lines if line.get_marker() == "o" and len(line.get_xdata()) == 1]
    filled = sum(line.get_markerfacecolor() != "white" for line in points)
    assert len(points) == 6
    assert filled == answer.equivalence["equivalent"].sum()
    assert len(axes.texts) == 3
    inside(figure)


def test_checks_have_four_panels(answer):
    figure = checks.draw_checks(answer)
    assert len(figure.axes) == 4
    assert all(a.get_xlabel() and a.get_ylabel() for a in figure.axes)
    assert len(figure.axes[0].lines[1].get_xdata()) == answer.n_observations
    inside(figure)


def test_tipping_only_where_something_is_missing(answer, lactate):
    figure = checks.draw_tipping(answer)
    assert "bpm" in figure.axes[0].get_xlabel()
    assert checks.draw_tipping(lactate) is None
    inside(figure)


def test_sensitivity_has_a_line_for_each_way_in_this_unit(answer):
    figure = checks.draw_sensitivity(answer)
    shown = answer.sensitivity.query("outcome == 'hr_mean_bpm'").dropna(subset=["ci_low"])
    assert len(figure.axes[0].get_yticklabels()) == len(shown)
    inside(figure)


@pytest.mark.parametrize("name", CHOICES)
@pytest.mark.parametrize(("n", "rounds"), [(3, 2), (5, 3), (8, 8)])
def test_other_sizes(name, n, rounds):
    result = answer_rounds(table(n=n, rounds=rounds, seed=n), "hr_mean_bpm", smallest_effect=5.0)
    figure = (getattr(draw, name, None) or getattr(checks, name))(result)
    assert figure.alt_text.endswith(".") and "nan" not in figure.alt_text
    inside(figure)


def test_draws_on_given_axes(answer):
    from matplotlib.figure import Figure

    figure = Figure()
    axes = figure.subplots()
    assert draw.draw_contrasts(answer, ax=axes) is figure
    assert not figure.legends
