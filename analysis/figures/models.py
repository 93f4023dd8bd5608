"""Pictures of the assumptions of any mixed model: residuals, their quantiles, their spread, and athletes' levels."""

from __future__ import annotations

import numpy as np

from ..basics import format_number, join_words, plural
from .rounds_common import in_unit, known_outcome
from .style import INK, MAIN, QUIET, finish, new_axes

FACTOR_WORDS = {"round_no": "Round", "bout_no": "Bout"}


def draw_model_checks(diagnostics, *, ax=None):
    """Draw what a mixed model assumes: even residuals, normal residuals, the same spread at every level."""
    if ax is None:
        figure, axes = new_axes(width="double", height_mm=62, columns=3)
        panels = list(axes)
    else:
        panels = list(ax)
        figure, _ = new_axes(panels[0])
    unit = in_unit(known_outcome(diagnostics.outcome))
    residuals, spread = diagnostics.residuals, diagnostics.spread
    first, second, third = panels
    first.axhline(0, color=QUIET, linewidth=0.8)
    first.plot(residuals["fitted"], residuals["residual"], "o", color=MAIN, markersize=3, alpha=0.8)
    first.set(xlabel=f"Fitted value{unit}", ylabel=f"Residual{unit}")
    quantile = residuals["normal_quantile"]
    ends = np.array([quantile.min(), quantile.max()])
    second.plot(ends, ends, color=QUIET, linewidth=0.8)
    second.plot(quantile, residuals["scaled_residual"], "o", color=MAIN, markersize=3, alpha=0.8)
    second.set(xlabel="Where a normal distribution\nwould put it (SDs)", ylabel="Residual (SDs)")
    third.plot(range(len(spread)), spread["residual_sd"], "D", color=MAIN)
    third.set_xticks(range(len(spread)), spread["level"])
    top = float(spread["residual_sd"].max())
    third.set_ylim(0, 1.25 * top if np.isfinite(top) and top > 0 else 1)
    third.set(
        xlabel=FACTOR_WORDS.get(diagnostics.factor, diagnostics.factor), ylabel=f"SD of the residuals{unit}"
    )
    third.margins(x=0.2)
    return finish(figure, _describe(diagnostics))


def draw_athlete_effects(diagnostics, *, ax=None, show_codes: bool = False):
    """Draw how far each athlete's level lies from the average, from low to high, with a 95 % interval."""
    effects = diagnostics.random_effects
    effects = effects[effects["effect"] == "intercept"].sort_values("estimate").reset_index(drop=True)
    figure, axes = new_axes(ax, width="single", height_mm=max(48, 22 + 4 * len(effects)))
    place = np.arange(len(effects))
    axes.axvline(0, color=QUIET, linewidth=0.8)
    axes.hlines(place, effects["ci_low"], effects["ci_high"], color=MAIN, linewidth=1.2)
    axes.plot(effects["estimate"], place, "o", color=INK)
    axes.set_yticks(place, effects["level"] if show_codes else [""] * len(effects))
    unit = in_unit(known_outcome(diagnostics.outcome))
    axes.set(xlabel=f"Athlete's level minus the average{unit}", ylabel="Athletes, from low to high")
    low, high = (float(v) for v in (effects["estimate"].min(), effects["estimate"].max()))
    return finish(
        figure,
        f"The predicted levels of {plural(len(effects), 'athlete')} lie between {format_number(low)} and "
        f"{format_number(high)} from the average{unit}, each with its interval.",
    )


def _describe(diagnostics) -> str:
    largest = float(diagnostics.residuals["scaled_residual"].abs().max())
    spread = diagnostics.spread.dropna(subset=["residual_sd"])
    sds = [format_number(v) for v in spread["residual_sd"]]
    text = (
        f"{plural(diagnostics.n_observations, 'residual')} of {plural(diagnostics.n_athletes, 'athlete')} against the "
        f"fitted values and against normal quantiles; the largest is {format_number(largest)} SDs from zero."
    )
    return text + (f" Their SD by level is {join_words(sds)}." if len(sds) > 1 else "")
