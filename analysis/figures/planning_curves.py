"""Pictures for planning: power and precision over the number of athletes."""

from __future__ import annotations

import numpy as np

from ..basics import format_number, format_percent, plural
from .style import INK, MAIN, QUIET, SECOND, finish, new_axes


def draw_power_curves(curves, *, ax=None):
    """Draw the chance to show the smallest effect that matters, and the assumed one, over the number of athletes."""
    figure, ax = new_axes(ax, height_mm=66)
    table = curves.table
    what = "margin" if curves.part == "plateau" else "smallest that matters"
    names = {"power_smallest": (f"{what}: {_amount(curves, curves.smallest)}", MAIN, "-", "o")}
    if table["power_assumed"].notna().any():
        names["power_assumed"] = (f"assumed: {_amount(curves, abs(curves.assumed))}", SECOND, "--", "s")
    for column, (label, colour, line, marker) in names.items():
        ax.plot(table["n"], 100 * table[column], line, color=colour, marker=marker, markevery=4, label=label)
    ax.axhline(100 * curves.wished, color=QUIET, linewidth=0.8, linestyle=":")
    _mark_size(ax, curves)
    ax.set(xlabel="Athletes who finish", ylabel="Studies that would show it (%)", ylim=(0, 103))
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.06), ncols=1)
    return finish(figure, _describe_curves(curves))


def draw_precision(curves, *, ax=None):
    """Draw how wide the interval will be, over the number of athletes."""
    figure, ax = new_axes(ax, height_mm=66)
    table = curves.table[np.isfinite(curves.table["half_width"])]
    # the few smallest studies have intervals far off the scale of the others
    widest = float(np.quantile(table["half_width"], 0.9)) * 1.25 if len(table) else 0.0
    limit = max(1.3 * curves.smallest, widest)
    shown = table[table["half_width"] <= limit]
    ax.plot(
        shown["n"],
        shown["half_width"],
        color=MAIN,
        marker="o",
        markevery=4,
        label="half the interval to expect",
    )
    ax.axhline(
        curves.smallest,
        color=SECOND,
        linestyle="--",
        label=f"smallest that matters: {_amount(curves, curves.smallest)}",
    )
    if len(table):
        ax.set_ylim(0, limit)
    _mark_size(ax, curves)
    ax.set(
        xlabel="Athletes who finish",
        ylabel="Half the interval" + (f" ({curves.unit})".replace(" per ", "\nper ") if curves.unit else ""),
    )
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.06))
    here = table[table["n"] == curves.n_left]["half_width"]
    width = _amount(curves, float(here.iloc[0])) if len(here) else "no finite width"
    return finish(
        figure,
        f"{curves.about} Half the width of the interval to expect, over the number of athletes: with "
        f"{plural(curves.n_left, 'athlete')} who finish it is {width}; the smallest effect that matters is "
        f"{_amount(curves, curves.smallest)}.",
    )


def draw_power_and_precision(curves, *, ax=None):
    """Draw power and precision side by side."""
    if ax is None:
        figure, ax = new_axes(width="double", height_mm=66, columns=2)
    left = draw_power_curves(curves, ax=ax[0]).alt_text
    figure = draw_precision(curves, ax=ax[1])
    return finish(figure, f"Left: {left} Right: {figure.alt_text}")


def _amount(curves, value: float) -> str:
    return format_number(value, curves.digits, unit=curves.unit)


def _mark_size(ax, curves) -> None:
    ax.axvline(curves.n_left, color=INK, linewidth=0.8)
    ax.annotate(
        f"{curves.n_left} finish", (curves.n_left, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 2),
        textcoords="offset points", va="bottom", ha="center", color=INK,
    )  # fmt: skip


def _describe_curves(curves) -> str:
    here = curves.table[curves.table["n"] == curves.n_left]
    said = (
        f"with {plural(curves.n_left, 'athlete')} who finish, {format_percent(float(here['power_smallest'].iloc[0]))} would show "
        f"{_amount(curves, curves.smallest)}"
        if len(here)
        else f"{plural(curves.n_left, 'athlete')} who finish lie outside the picture"
    )
    return f"{curves.about} Share of studies that would show it, over the number of athletes: {said}."
