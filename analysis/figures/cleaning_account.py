"""Pictures of what cleaning costs: the ledger, the rules, the map of what is missing, worst and best case."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..basics import format_number, join_words, plural
from .style import FAINT, INK, MAIN, QUIET, SECOND, finish, new_axes

HOLLOW = {
    "color": SECOND,
    "markerfacecolor": "white",
    "markeredgewidth": 1.3,
    "markersize": 7,
    "linestyle": "none",
}
"""A hollow mark, so that a filled one on it can be seen."""


def draw_ledger(cleaned, *, ax=None):
    """Draw what became of the seconds of all rounds with a recording: used, and set aside by cause."""
    table = round_seconds(cleaned)
    figure, axes = new_axes(ax, width="double", height_mm=22 + 7 * max(len(table), 1))
    total = table["seconds"].sum()
    shares = 100 * table["seconds"] / total if total > 0 else table["seconds"] * 0
    place = np.arange(len(table))[::-1]
    colours = [MAIN if used else FAINT for used in table["used"]]
    axes.barh(place, shares, color=colours, edgecolor=INK, linewidth=0.5, height=0.62)
    for y, share, seconds in zip(place, shares, table["seconds"], strict=True):
        words = f"{format_number(share, 1, unit='%')}  ({_duration(seconds)})"
        inside = share > 55
        axes.annotate(
            words,
            (share, y),
            xytext=(-4 if inside else 4, 0),
            textcoords="offset points",
            ha="right" if inside else "left",
            va="center",
            color="white" if inside else INK,
        )
    axes.set_yticks(place, [c[:1].upper() + c[1:] for c in table["cause"]])
    axes.set_xlim(0, 100)
    axes.set_xlabel("Share of the time in rounds (%)")
    axes.tick_params(left=False)
    parts = [f"{c} {format_number(s, 1, unit='%')}" for c, s in zip(table["cause"], shares, strict=True)]
    return finish(
        figure, f"Bars of what became of the time in rounds: {join_words(parts) or 'no recording'}."
    )


def _duration(seconds: float) -> str:
    return format_number(seconds, 0, unit="s") if seconds < 60 else format_number(seconds / 60, 1, unit="min")


def round_seconds(cleaned) -> pd.DataFrame:
    """Tabulate the seconds of all rounds with a recording by what became of them."""
    ledger = cleaned.ledger.table
    rows = ledger[(ledger["measure"] == "round seconds") & (ledger["unit"] == "s")]
    words = np.where(
        rows["used"], np.where(rows["cause"] == "", "used", "used: " + rows["cause"]), rows["cause"]
    )
    grouped = rows["amount"].groupby([~rows["used"].to_numpy(), words], sort=True).sum()
    table = pd.DataFrame(
        {
            "cause": [cause for _, cause in grouped.index],
            "seconds": grouped.to_numpy(),
            "used": [not aside for aside, _ in grouped.index],
        }
    )
    return table.sort_values(["used", "seconds"], ascending=False, kind="stable", ignore_index=True)


def draw_costs(cleaned, *, ax=None):
    """Draw what each rule costs: by how much round means would move were its samples kept."""
    table = cleaned.costs[cleaned.costs["largest_change_bpm"].notna()].reset_index(drop=True)
    figure, axes = new_axes(ax, width="double", height_mm=26 + 8 * max(len(table), 1))
    place = np.arange(len(table))[::-1]
    axes.hlines(place, 0, table["largest_change_bpm"], color=QUIET, linewidth=1.2)
    axes.plot(table["largest_change_bpm"], place, "D", **HOLLOW, label="largest round")
    axes.plot(
        table["mean_change_bpm"], place, "o", color=MAIN, linestyle="none", label="mean of the rounds touched"
    )
    names = [
        f"{flag[:1].upper()}{flag[1:]} ({format_number(seconds, 0, unit='s')}, {plural(rounds, 'round')})"
        for flag, seconds, rounds in zip(table["flag"], table["seconds"], table["rounds"], strict=True)
    ]
    axes.set_yticks(place, names)
    axes.set_ylim(-0.7, len(table) - 0.3 if len(table) else 0.7)
    axes.set_xlim(left=0)
    axes.set_xlabel("Change of the round mean were the samples kept (bpm)")
    axes.tick_params(left=False)
    if len(table) == 0:
        axes.set_xlim(0, 1)
        axes.annotate(
            "no flagged sample inside a round", (0.5, 0.5), xycoords="axes fraction", ha="center", color=INK
        )
    elif ax is None:
        figure.legend(loc="outside upper left", ncols=2)
    parts = [
        f"{f} {format_number(v, 1, unit='bpm')}"
        for f, v in zip(table["flag"], table["largest_change_bpm"], strict=True)
    ]
    return finish(
        figure, f"Largest change of a round mean were flagged samples kept: {join_words(parts) or 'none'}."
    )


def draw_missing(cleaned, *, session: str | None = None, show_codes: bool = False, ax=None):
    """Draw a map of athletes and rounds: how much of each round is valid, and why a mean is missing."""
    rows = cleaned.rows[cleaned.rows["round_no"] > 0]
    session = session if session is not None else (rows["session"].iloc[0] if len(rows) else "")
    rows = rows[rows["session"] == session]
    valid = rows.pivot_table(
        index="athlete", columns="round_no", values="valid_share", aggfunc="first", dropna=False
    )
    order = (
        valid.index
        if show_codes
        else valid.mean(axis=1).fillna(-1).sort_values(ascending=False, kind="stable").index
    )
    valid = valid.reindex(index=order)
    figure, axes = new_axes(ax, width="single", height_mm=30 + 4.2 * max(len(valid), 1))
    image = axes.pcolormesh(
        np.ma.masked_invalid(valid.to_numpy(dtype=float)),
        vmin=0,
        vmax=1,
        cmap=_one_colour(),
        edgecolors="white",
        linewidth=1.2,
    )
    axes.set_ylim(max(len(valid), 1), 0)
    marks = {"missing": ("x", "no mean"), "typed": ("o", "typed mean"), "out": ("_", "sat out or had left")}
    used = _mark_cells(axes, rows, valid, marks)
    axes.set_xticks(np.arange(valid.shape[1]) + 0.5, [str(k) for k in valid.columns])
    axes.set_yticks(np.arange(len(valid)) + 0.5, list(valid.index) if show_codes else [""] * len(valid))
    axes.tick_params(length=0)
    axes.set_xlabel("Round")
    axes.set_ylabel("Athletes" if not show_codes else "Athlete")
    for side in axes.spines.values():
        side.set_visible(False)
    traced = bool(valid.notna().any(axis=None))
    if ax is None:
        if traced:
            bar = figure.colorbar(image, ax=axes, shrink=0.8, label="Valid share of the round")
            bar.outline.set_visible(False)
        if used:
            figure.legend(loc="outside upper left", ncols=len(used), handletextpad=0.3, columnspacing=1.0)
    count = int(rows["hr_mean_bpm"].isna().sum())
    return finish(
        figure,
        f"Map of {plural(len(valid), 'athlete')} by {plural(valid.shape[1], 'round')}: "
        f"{'shade is the valid share of the round; ' if traced else 'no recordings; '}"
        f"{plural(count, 'round')} without a mean heart rate {'is' if count == 1 else 'are'} marked.",
    )


def _mark_cells(axes, rows, valid, marks) -> list[str]:
    place = {a: i + 0.5 for i, a in enumerate(valid.index)}
    column = {k: j + 0.5 for j, k in enumerate(valid.columns)}
    kinds = np.where(
        rows["took_part"].isin(["sat_out", "left"]),
        "out",
        np.where(rows["hr_source"] == "typed", "typed", np.where(rows["hr_mean_bpm"].isna(), "missing", "")),
    )
    used = []
    for kind, (mark, label) in marks.items():
        chosen = rows[kinds == kind]
        if len(chosen):
            x, y = chosen["round_no"].map(column), chosen["athlete"].map(place)
            filled = {"markerfacecolor": "white"} if mark == "o" else {}
            axes.plot(x, y, mark, color=SECOND, markersize=5, markeredgewidth=1.4, label=label, **filled)
            used.append(kind)
    return used


def draw_bounds(cleaned, *, ax=None):
    """Draw the round means that rest on less than their whole round, with the worst and best case of what is missing."""
    table = cleaned.bounds[(cleaned.bounds["aside_s"] > 2) & cleaned.bounds["mean_bpm"].notna()]
    table = table.sort_values("aside_s", ascending=False, kind="stable").head(24).reset_index(drop=True)
    figure, axes = new_axes(ax, width="double", height_mm=28 + 5.5 * max(len(table), 1))
    place = np.arange(len(table))[::-1]
    axes.hlines(
        place,
        table["mean_low_bpm"],
        table["mean_high_bpm"],
        color=QUIET,
        linewidth=3,
        label="worst and best case",
    )
    axes.plot(table["mean_kept_bpm"], place, "D", **HOLLOW, label="flagged samples kept")
    axes.plot(table["mean_bpm"], place, "o", color=MAIN, linestyle="none", label="flagged samples set aside")
    lost = [format_number(s, 0, unit="s") for s in table["aside_s"]]
    names = [f"{s} missing, round {k}" for s, k in zip(lost, table["round_no"], strict=True)]
    axes.set_yticks(place, names)
    axes.set_ylim(-0.7, len(table) - 0.3 if len(table) else 0.7)
    axes.set_xlabel("Mean heart rate of the round (bpm)")
    axes.tick_params(left=False)
    if len(table) == 0:
        axes.set_xlim(100, 200)
        axes.annotate("every round is whole", (0.5, 0.5), xycoords="axes fraction", ha="center", color=INK)
    elif ax is None:
        figure.legend(loc="outside upper left", ncols=3)
    width = (table["mean_high_bpm"] - table["mean_low_bpm"]).max() if len(table) else 0.0
    return finish(
        figure,
        f"{plural(len(table), 'round mean')} with missing time, each with its worst and best case; the widest range is "
        f"{format_number(width, 1, unit='bpm')}.",
    )


def _one_colour():
    """Shades of the main colour from near white."""
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list("valid", ["#f4f1ea", MAIN])
