"""The assumption pictures of a mixed model show the tables they are given."""

import numpy as np
import pandas as pd
import pytest

from analysis.figures.models import draw_athlete_effects, draw_model_checks
from analysis.models import fit_mixed


def rows(seed=0, n=6, rounds=4):
    rng = np.random.default_rng(seed)
    athlete = np.repeat(np.arange(n), rounds)
    return pd.DataFrame(
        {
            "athlete": [f"A{i:02d}" for i in athlete],
            "round_no": np.tile(np.arange(1, rounds + 1), n),
            "hr_mean_bpm": 160 + 8 * rng.normal(size=n)[athlete] + 4 * rng.normal(size=n * rounds),
        }
    )


@pytest.mark.parametrize("formula", ["hr_mean_bpm ~ C(round_no)", "hr_mean_bpm ~ round_no"])
def test_checks_show_every_residual(formula):
    found = fit_mixed(rows(), formula, group="athlete").diagnostics()
    figure = draw_model_checks(found)
    points = figure.axes[0].lines[1]
    assert list(points.get_ydata()) == list(found.residuals["residual"])
    assert len(figure.axes[2].lines[0].get_xdata()) == len(found.spread)
    assert "bpm" in figure.axes[0].get_xlabel()
    assert "24 residuals of 6 athletes" in figure.alt_text and "nan" not in figure.alt_text
    figure.canvas.draw()


def test_athletes_without_codes_unless_asked():
    found = fit_mixed(rows(), "hr_mean_bpm ~ C(round_no)", group="athlete").diagnostics()
    figure = draw_athlete_effects(found)
    labels = {t.get_text() for t in figure.axes[0].get_yticklabels()}
    assert labels == {""}
    shown = {t.get_text() for t in draw_athlete_effects(found, show_codes=True).axes[0].get_yticklabels()}
    assert shown == set(found.random_effects["level"])
    assert "6 athletes" in figure.alt_text


def test_no_variance_between_athletes_still_draws():
    data = rows()
    data["hr_mean_bpm"] -= data.groupby("athlete")["hr_mean_bpm"].transform("mean")
    found = fit_mixed(data, "hr_mean_bpm ~ C(round_no)", group="athlete").diagnostics()
    assert (found.random_effects["estimate"] == 0).all()
    draw_athlete_effects(found).canvas.draw()
    draw_model_checks(found).canvas.draw()


def test_pictures_go_into_given_axes():
    from analysis.figures.style import new_axes

    found = fit_mixed(rows(), "hr_mean_bpm ~ C(round_no)", group="athlete").diagnostics()
    figure, axes = new_axes(columns=3, width="double")
    assert draw_model_checks(found, ax=axes) is figure
    figure, axes = new_axes()
    assert draw_athlete_effects(found, ax=axes) is figure
