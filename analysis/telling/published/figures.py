"""Pictures of our results beside published ones: correlations with what was to be expected, and profiles over the rounds."""

from __future__ import annotations

import itertools
import math

import numpy as np

from ...basics import format_ci, format_number, join_words, lower_first, plural
from ...study import known_outcome
from ..style import FAINT, INK, LINES, MAIN, MARKERS, QUIET, SECOND, finish, legend_above, new_axes, new_panels
from ..words import wrap_words

PUBLISHED = {"color": SECOND, "mfc": "white", "markersize": 5, "capsize": 2.5, "elinewidth": 1.2}
OURS = {"color": MAIN, "markersize": 5, "capsize": 2.5, "elinewidth": 1.4}


def draw_forest(answer, *, ax=None):
    """Draw published correlations, what was to be expected of ours, ours, and all together.

    Gives None where no correlation was published.

    >>> figure = draw_forest(answers.published())
    """
    if not answer.correlations:
        return None
    lines = _forest_lines(answer)
    kinds = [kind for kind, _, _ in lines]
    next_outcome = [a in ("together", "ours") and b == "published" for a, b in itertools.pairwise(kinds)]
    y = -(np.arange(len(kinds)) + 0.6 * np.cumsum([False, *next_outcome]))  # with a gap where the next outcome begins
    figure, axes = new_axes(ax, width="double", height_mm=18 + 8.0 * (1 - y[-1]))
    axes.axvline(0, color=QUIET, linewidth=0.8, zorder=0)
    beside = {"fontsize": 7, "va": "center", "ha": "left", "color": INK, "transform": axes.get_yaxis_transform()}
    for place, (kind, _, values) in zip(y, lines, strict=True):
        _draw_line(axes, place, kind, values)
        middle, span = values[0], format_ci(*values[1:], 2)
        axes.text(1.03, place, span if math.isnan(middle) else f"{format_number(middle, 2)} ({span})", **beside)
    axes.set_yticks(y, [wrap_words(label, 42) for _, label, _ in lines])
    axes.tick_params(axis="y", length=0)
    axes.set_xlim(-1.02, 1.02)
    axes.set_xticks([-1, -0.5, 0, 0.5, 1])
    axes.set_ylim(y[-1] - 0.7, 0.7)
    axes.set_xlabel("Correlation of fitness with the outcome")
    legend_above(figure, axes, ax, ncols=4)
    return finish(figure, _describe_forest(answer))


def _forest_lines(answer) -> list[tuple[str, str, tuple]]:
    lines = []
    for outcome in dict.fromkeys(c.outcome for c in answer.correlations):
        pairs = [c for c in answer.correlations if c.outcome == outcome]
        label = known_outcome(outcome).label
        for c in pairs:
            expected = math.nan, c.prediction_low, c.prediction_high
            lines.append(("published", f"{label}: {c.finding}, {_size(c.n)}", (c.r, c.ci_low, c.ci_high)))
            lines.append(("expected", f"to be expected of {plural(c.n_new, 'athlete')}", expected))
        mine = pairs[0]
        lines.append(("ours", f"ours, {_size(mine.n_new)}", (mine.r_new, mine.ci_low_new, mine.ci_high_new)))
        both = answer.combined.get(outcome)
        if both is not None:
            lines.append(("together", f"together, {both.model}", (both.estimate, both.ci_low, both.ci_high)))
    return lines


def _size(n: int) -> str:
    return f"n\N{NO-BREAK SPACE}=\N{NO-BREAK SPACE}{n}"


def _draw_line(axes, place, kind: str, values: tuple) -> None:
    middle, low, high = values
    if kind == "expected":
        ends = [place - 0.22, place + 0.22]
        name = "95\N{NO-BREAK SPACE}% prediction interval"
        axes.fill_betweenx(ends, low, high, color=FAINT, linewidth=0, label=name, zorder=1)
        axes.plot([low, low, np.nan, high, high], [*ends, np.nan, *ends], color=QUIET, linewidth=0.8)
    elif kind == "together":
        tips = [place, place + 0.25, place, place - 0.25]
        axes.fill([low, middle, high, middle], tips, color=QUIET, linewidth=0, label="all together", zorder=2)
    else:
        style, marker = (PUBLISHED, "s") if kind == "published" else (OURS, "D")
        name = f"{kind}, 95\N{NO-BREAK SPACE}% interval"
        reach = [[middle - low], [high - middle]]
        axes.errorbar(middle, place, xerr=reach, marker=marker, label=name, zorder=3, **style)


def _describe_forest(answer) -> str:
    said = []
    for c in answer.correlations:
        expected = format_ci(c.prediction_low, c.prediction_high, 2)
        said.append(
            f"{known_outcome(c.outcome).label}: published correlation {format_number(c.r, 2)} ({c.finding}), ours "
            f"{format_number(c.r_new, 2)}; to be expected of ours was {expected}."
        )
    return "Correlations with their 95 % intervals on one scale. " + " ".join(said)


def draw_profiles(answer, *, ax=None):
    """Draw our round means over published ones, one panel per outcome; None where no round mean was published that we have too.

    >>> figure = draw_profiles(answers.published())
    """
    outcomes = list(dict.fromkeys(answer.profiles["outcome"]))
    if not outcomes:
        return None
    height = 12 + 58 * math.ceil(len(outcomes) / 2)
    figure, panels = new_panels(ax, count=len(outcomes), columns=min(2, len(outcomes)), height_mm=height)
    findings = list(dict.fromkeys(answer.findings.means["finding"]))
    for panel, outcome in zip(panels, outcomes, strict=False):
        _draw_profile(panel, answer, outcome, findings)
    legend_above(figure, panels, ax, ncols=min(2, len(outcomes)), wrap=lambda name: wrap_words(name, 50))
    return finish(figure, _describe_profiles(answer, outcomes))


def _draw_profile(panel, answer, outcome: str, findings: list[str]) -> None:
    means = answer.findings.means
    theirs = means[(means["outcome"] == outcome) & means["round_no"].notna()]
    present = [f for f in findings if f in set(theirs["finding"])]
    for i, finding in enumerate(present):
        rows = theirs[theirs["finding"] == finding].sort_values("round_no")
        shift = 0.10 + 0.08 * i
        name = f"published: {finding}, {_size(rows['n_athletes'].iloc[0])}"
        style = {"marker": MARKERS[(i + 1) % len(MARKERS)], "linestyle": LINES[1 + i % 3], "label": name, **PUBLISHED}
        reach = _reach(rows["mean"], rows["ci_low"], rows["ci_high"])
        panel.errorbar(rows["round_no"] + shift, rows["mean"], yerr=reach, zorder=2, **style)
    ours = answer.profiles[answer.profiles["outcome"] == outcome].drop_duplicates("round_no").sort_values("round_no")
    style = {"marker": "D", "linestyle": "-", "label": "ours", **OURS}
    reach = _reach(ours["ours"], ours["ours_low"], ours["ours_high"])
    panel.errorbar(ours["round_no"], ours["ours"], yerr=reach, zorder=3, **style)
    panel.set_xticks(sorted({*theirs["round_no"].astype(int), *ours["round_no"].astype(int)}))
    panel.set_xlabel("Round")
    panel.set_ylabel(wrap_words(known_outcome(outcome).axis_label, 30))
    panel.margins(x=0.12, y=0.1)


def _reach(middle, low, high) -> np.ndarray:
    """Lengths of the bars below and above; none where there is no interval."""
    return np.nan_to_num(np.array([middle - low, high - middle], dtype=float))


def _describe_profiles(answer, outcomes: list[str]) -> str:
    said = []
    for outcome in outcomes:
        rows = answer.profiles[answer.profiles["outcome"] == outcome]
        known = known_outcome(outcome)
        parts = [
            f"round {r['round_no']:g}, {format_number(r['ours'], known.digits)} against "
            f"{format_number(r['published'], known.digits)}"
            for r in rows.to_dict("records")
        ]
        said.append(f"Our {lower_first(known.label)} against the published one: {join_words(parts)}.")
    return "Means by round with 95 % intervals, ours with filled, published with open markers. " + " ".join(said)
