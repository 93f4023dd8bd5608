"""Pictures of submitted sessions: ranked intervals, the distribution, the bands, the equations. People count once."""

from __future__ import annotations

import numpy as np

from ...basics import format_number, format_percent, join_words, plural
from ..style import FAINT, INK, MAIN, QUIET, SECOND, finish, legend_above, new_axes

MEASURES = {"percent_mean": ("mean of the session", SECOND, "--"), "percent_peak": ("peak of the session", MAIN, "-")}
EDGES = {57.0: "light", 64.0: "moderate", 77.0: "vigorous", 96.0: "near-maximal\nto maximal"}
MOST_LINES = 120
"""Of more sessions a regular selection along the ranking is drawn."""


def draw_sessions(answer, *, ax=None):
    """Draw each session from its mean to its peak, ranked by peak, with the error of the predicted maximum.

    Gives None where no age is known.

    >>> figure = draw_sessions(survey)
    """
    whole = ["percent_mean_likely", "percent_peak_likely"]
    table = answer.sessions.dropna(subset=whole).sort_values("percent_peak_likely", ignore_index=True)
    if table.empty:
        return None
    n = len(table)
    if n > MOST_LINES:
        table = table.iloc[np.linspace(0, n - 1, MOST_LINES).round().astype(int)].reset_index(drop=True)
    figure, axes = new_axes(ax, width="double", height_mm=min(170, 40 + 1.05 * len(table)))
    y = table.index.to_numpy()
    mean, peak = table["percent_mean_likely"], table["percent_peak_likely"]
    axes.hlines(y, mean, peak, color=FAINT, linewidth=2.2, zorder=1, label="from mean to peak")
    error = {"color": QUIET, "linewidth": 0.7, "zorder": 2}
    axes.hlines(y, table["percent_mean_low"], table["percent_mean_high"], **error)
    name = "error of the predicted maximum (95\N{NO-BREAK SPACE}%)"
    axes.hlines(y, table["percent_peak_low"], table["percent_peak_high"], label=name, **error)
    axes.plot(mean, y, "o", color=SECOND, mfc="white", markersize=2.8, zorder=3, label="mean")
    axes.plot(peak, y, "D", color=MAIN, markersize=2.6, zorder=3, label="peak")
    axes.axvline(100, color=INK, linewidth=0.8)
    _mark_bands(axes)
    axes.set_ylim(-1, len(table) + 0.5)
    axes.set_yticks([])
    drawn = f"{len(table)} of {n} sessions" if n > len(table) else plural(n, "session")
    axes.set_ylabel(f"{drawn}, ranked by peak")
    axes.set_xlabel("Heart rate (% of predicted maximum)")
    legend_above(figure, axes, ax, ncols=4)
    low, high = table["percent_peak_likely"].quantile([0.1, 0.9])
    return finish(
        figure,
        f"{drawn} as horizontal lines from mean to peak, as shares of the predicted maximum. Nine of ten peaks lie above "
        f"{format_number(low, 0)} and one of ten above {format_number(high, 0)} per cent; thin lines show the error of the "
        "prediction.",
    )


def _mark_bands(axes) -> None:
    """Thin lines at the edges of the bands, named at the top; no colours."""
    low, high = axes.get_xlim()
    for edge, name in EDGES.items():
        if low < edge < high:
            axes.axvline(edge, color=QUIET, linewidth=0.5, linestyle=":", zorder=0)
            axes.annotate(name, (edge, 1), xycoords=("data", "axes fraction"), xytext=(2, 1), textcoords="offset points",
                          fontsize=7, va="bottom", color=INK)  # fmt: skip


def draw_distribution(answer, *, ax=None):
    """Draw, for every share of maximum, how many of people's sessions reach it, with both kinds of uncertainty.

    Gives None where no age is known.

    >>> figure = draw_distribution(survey)
    """
    if answer.shares.empty:
        return None
    figure, axes = new_axes(ax, width="double", height_mm=82)
    for measure, (name, colour, line) in MEASURES.items():
        rows = answer.curve[answer.curve["measure"] == measure]
        if rows["centre"].isna().all():
            continue
        x = rows["percent"]
        wide, narrow = 100 * rows[["total_low", "total_high"]], 100 * rows[["low", "high"]]
        named = f"{name}: error of the prediction (95\N{NO-BREAK SPACE}%)"
        band = {"color": colour, "linewidth": 0}
        axes.fill_between(x, *wide.to_numpy().T, alpha=0.15, label=f"{name}: also for people drawn anew", **band)
        axes.fill_between(x, *narrow.to_numpy().T, alpha=0.32, label=named, **band)
        axes.plot(x, 100 * rows["centre"], line, color=colour, linewidth=1.6, label=f"{name}: most likely")
        exact = {"color": INK, "linewidth": 1.0, "label": "predicted maxima taken as exact"}
        axes.plot(x, 100 * rows["estimate"], ":", **exact)
    axes.set_xlabel("Heart rate (% of predicted maximum)")
    axes.set_ylabel("Share of people's sessions at or above (%)")
    axes.set_ylim(-2, 102)
    _mark_bands(axes)
    legend_above(figure, axes, ax, ncols=2)
    told = answer.headline()
    at = {k: format_percent(told[k]) for k in ("centre", "low", "high", "estimate")}
    return finish(
        figure,
        "Falling curves of the share of people's sessions whose mean or peak reaches a share of the predicted maximum. "
        f"{_what(told).capitalize()} at or above {told['threshold']:g} per cent: most likely {at['centre']} of sessions, from "
        f"{at['low']} to {at['high']} with the error of the prediction; {at['estimate']} with maxima taken as exact.",
    )


def draw_equations(answer, *, ax=None):
    """Draw the share that is told first, such as peaks at or above 90 % of maximum, under each published equation.

    Gives None where no age is known.

    >>> figure = draw_equations(survey)
    """
    rows, told = answer.headline_equations(only_for_all=False), answer.headline()
    if rows.empty:
        return None
    what = f"{_what(told)} at or above {told['threshold']:g}"
    figure, axes = new_axes(ax, width="double", height_mm=18 + 6.0 * len(rows))
    y = rows.index.to_numpy()
    main = (rows["equation"] == answer.equation).to_numpy()
    colours = np.where(main, MAIN, QUIET)
    axes.hlines(y, 100 * rows["low"], 100 * rows["high"], color=colours, linewidth=1.4, zorder=1)
    filled = {"marker": "D", "color": MAIN, "markersize": 5}
    hollow = {"marker": "o", "color": QUIET, "mfc": "white", "markersize": 4.5}
    for chosen, style, which in ((main, filled, "main equation"), (~main, hollow, "other equations")):
        name = f"most likely, {which}"
        axes.plot(100 * rows["centre"][chosen], y[chosen], linestyle="", label=name, clip_on=False, **style)
    exact = {"color": INK, "markersize": 7, "label": "predicted maxima taken as exact"}
    axes.plot(100 * rows["estimate"], y, "|", clip_on=False, **exact)
    axes.set_yticks(y, [_equation_name(r) for r in rows.itertuples()])
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(-0.7, len(rows) - 0.3)
    axes.set_xlim(0, 100)
    axes.set_xlabel(f"Sessions with {what} % of maximum (%)")
    legend_above(figure, axes, ax, ncols=3)
    first, last = rows.iloc[0], rows.iloc[-1]
    return finish(
        figure,
        f"One line per published equation. The most likely share of sessions with {what} per cent of maximum runs "
        f"from {format_percent(first['centre'])} ({first['label']}) to {format_percent(last['centre'])} ({last['label']}).",
    )


def _what(told: dict) -> str:
    return "means" if told["measure"] == "percent_mean" else "peaks"


def _equation_name(row) -> str:
    formula = row.formula.replace(" - ", " \N{MINUS SIGN} ").replace("^2", "\N{SUPERSCRIPT TWO}")
    few = "" if row.sex == "any" else f" (n\N{NO-BREAK SPACE}=\N{NO-BREAK SPACE}{row.n_athletes})"
    return f"{row.label}: {formula}{few}"


def draw_bands(answer, *, ax=None):
    """Draw the time of recordings in the bands beside what means and peaks alone would say; None where no age is known.

    >>> figure = draw_bands(survey)
    """
    if answer.bands.empty:
        return None
    bands = answer.bands
    figure, axes = new_axes(ax, width="double", height_mm=70)
    y = -np.arange(len(bands)).astype(float)
    series = [
        ("mean_share", "mean_low", "mean_high", "sessions by their mean", SECOND, "o", "white", 0.22),
        ("peak_share", "peak_low", "peak_high", "sessions by their peak", QUIET, "^", "white", 0.0),
    ]
    if bands["time"].notna().any():
        name = f"time of {plural(int(bands['n_recordings'].iloc[0]), 'recording')}"
        series.append(("time", "time_low", "time_high", name, MAIN, "D", MAIN, -0.22))
    series = [one for one in series if bands[one[0]].notna().any()]
    for value, low, high, name, colour, marker, face, shift in series:
        axes.hlines(y + shift, 100 * bands[low], 100 * bands[high], color=colour, linewidth=1.3)
        axes.plot(100 * bands[value], y + shift, marker, color=colour, mfc=face, markersize=5, label=name)
    for between in (y[1:] + y[:-1]) / 2:
        axes.axhline(between, color=FAINT, linewidth=0.6)
    axes.set_yticks(y, [_band_name(b) for b in bands.itertuples()])
    axes.tick_params(axis="y", length=0)
    axes.set_xlim(-2, 103)
    axes.set_xlabel("Share (%)")
    legend_above(figure, axes, ax, ncols=3)
    said = []
    for band in bands.to_dict("records"):
        parts = [f"{name} {format_percent(band[value])}" for value, _, _, name, *_ in series]
        said.append(f"{band['words']}: {join_words(parts)}")
    return finish(figure, "Five bands of intensity, each with its share. " + "; ".join(said) + ".")


def _band_name(band) -> str:
    if not band.low:
        return f"{band.words}\n(below {band.high:g} %)"
    high = f"to below {band.high:g} %" if np.isfinite(band.high) else "% and above"
    return f"{band.words}\n({band.low:g} {high})"
