"""Pictures of traces: all of a session, one in detail, one under other rules, and rounds that were found."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ...basics import format_number, join_words, plural
from ..style import FAINT, INK, MAIN, QUIET, SECOND, finish, new_axes

HOLLOW = {
    "color": SECOND,
    "markerfacecolor": "white",
    "markeredgewidth": 1.3,
    "markersize": 7,
    "linestyle": "none",
}
"""A hollow mark, so that a filled one on it can be seen."""


def draw_ledger(cleaned, *, ax=None):
    """Draw what became of the seconds of all rounds with a recording: used, and set aside by cause.

    Parameters
    ----------
    cleaned : CleanedStudy
    ax : matplotlib Axes, optional

    Returns
    -------
    matplotlib Figure

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> from analysis.study.decisions import Ledger
    >>> entries = [{"measure": "round seconds", "unit": "s", "amount": 280.0},
    ...     {"measure": "round seconds", "unit": "s", "amount": 20.0, "used": False, "cause": "no contact"}]
    >>> made = SimpleNamespace(ledger=Ledger().add(entries))
    >>> draw_ledger(made).axes[0].get_xlabel()
    'Share of the time in rounds (%)'
    """
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
    """Draw what each rule costs: by how much round means would move were its samples kept.

    Parameters
    ----------
    cleaned : CleanedStudy
    ax : matplotlib Axes, optional

    Returns
    -------
    matplotlib Figure

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> costs = pd.DataFrame({"flag": ["spike"], "seconds": [9.0], "rounds": [2], "mean_change_bpm": [0.4],
    ...     "largest_change_bpm": [0.7]})
    >>> draw_costs(SimpleNamespace(costs=costs)).axes[0].get_xlabel()
    'Change of the round mean were the samples kept (bpm)'
    """
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
    """Draw a map of athletes and rounds: how much of each round is valid, and why a mean is missing.

    Parameters
    ----------
    cleaned : CleanedStudy
    session : str, optional
        Default: the first with rounds.
    show_codes : bool
        Write the athletes' codes beside the rows; otherwise rows are ordered by valid time and carry no name.
    ax : matplotlib Axes, optional

    Returns
    -------
    matplotlib Figure

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> rows = pd.DataFrame({"session": "1", "athlete": ["A01", "A02"], "round_no": 1, "took_part": "yes",
    ...     "valid_share": [1.0, 0.5], "hr_mean_bpm": [150.0, float("nan")], "hr_source": ["trace", ""]})
    >>> draw_missing(SimpleNamespace(rows=rows)).axes[0].get_xlabel()
    'Round'
    """
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
    """Draw the round means that rest on less than their whole round, with the worst and best case of what is missing.

    Parameters
    ----------
    cleaned : CleanedStudy
    ax : matplotlib Axes, optional

    Returns
    -------
    matplotlib Figure

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> bounds = pd.DataFrame({"round_no": [1], "mean_bpm": [150.0], "mean_kept_bpm": [152.0], "mean_low_bpm": [146.0],
    ...     "mean_high_bpm": [153.0], "aside_s": [25.0]})
    >>> draw_bounds(SimpleNamespace(bounds=bounds)).axes[0].get_xlabel()
    'Mean heart rate of the round (bpm)'
    """
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


FLAG_MARKS = {
    "out of range": "^",
    "flat line": "_",
    "doubled or halved": "D",
    "spike": "x",
    "impossible change": "s",
    "start lag": ">",
    "straps mixed up": "P",
    "set aside by hand": "o",
}
"""Flag -> marker. "no contact" has no sample to mark: it is a bar at the foot of the picture."""


def draw_overview(cleaned, *, session: str | None = None, show_codes: bool = False, ax=None):
    """Draw every trace of a session as a small panel: rounds shaded, flagged samples marked, lost contact at the foot.

    Parameters
    ----------
    cleaned : CleanedStudy
    session : str, optional
        Default: the first with traces.
    show_codes : bool
        Write the athletes' codes. Default: the panels carry none and are ordered by valid time, since a shared picture
        must not tell who is who. Traces of athletes who did not agree to be shown alone are never drawn.
    ax : sequence of matplotlib Axes, optional
        One per trace.

    Returns
    -------
    matplotlib Figure

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> trace = pd.DataFrame({"clock_s": range(600), "hr_bpm": 140.0, "flag": "", "round_no": 1})
    >>> rounds = pd.DataFrame({"session": ["1"], "athlete": ["A01"], "round_no": [1], "start_s": [60.0], "end_s": [540.0]})
    >>> made = SimpleNamespace(traces={("1", "A01"): trace}, windows=rounds, may_show=("A01",))
    >>> draw_overview(made).axes[0].get_visible()
    True
    """
    session = session if session is not None else _first_session(cleaned)
    shown, hidden = _traces_of(cleaned, session, by_code=show_codes)
    columns = 4
    lines = max(-(-len(shown) // columns), 1)
    if ax is None:
        figure, axes = new_axes(
            width="double", height_mm=16 + 28 * lines, rows=lines, columns=columns, sharex=True, sharey=True, squeeze=False
        )  # fmt: skip
        panels = list(axes.ravel())
    else:
        figure, panels = ax[0].figure, list(ax)
    for panel, (athlete, trace) in zip(panels, shown, strict=False):
        _draw_panel(panel, cleaned, session, athlete, trace, small=True)
        if show_codes:
            panel.set_title(athlete)
    _limit_rates(panels[: len(shown)], [t for _, t in shown])
    for i, panel in enumerate(panels):
        panel.set_visible(i < len(shown))
        panel.tick_params(labelbottom=i + columns >= len(shown))
    if ax is None:
        figure.supxlabel("Minutes since the start of round 1", fontsize=7.5)
        figure.supylabel("Heart rate (bpm)", fontsize=7.5)
        _legend_of_flags(figure, panels[: len(shown)])
    return finish(figure, _overview_words(shown, hidden, session))


def draw_trace(cleaned, session: str, athlete: str, *, show_codes: bool = False, ax=None):
    """Draw the trace of one athlete in one session, with rounds, round means, flags and lost contact.

    Parameters
    ----------
    cleaned : CleanedStudy or TriedRules
    session, athlete : str
    show_codes : bool
        Write the athlete's code above.
    ax : matplotlib Axes, optional

    Returns
    -------
    matplotlib Figure

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> trace = pd.DataFrame({"clock_s": range(600), "hr_bpm": 140.0, "flag": "", "round_no": 1})
    >>> rounds = pd.DataFrame({"session": ["1"], "athlete": ["A01"], "round_no": [1], "start_s": [60.0], "end_s": [540.0]})
    >>> rows = rounds.assign(hr_mean_bpm=140.0)
    >>> made = SimpleNamespace(traces={("1", "A01"): trace}, windows=rounds, rows=rows)
    >>> draw_trace(made, "1", "A01").axes[0].get_ylabel()
    'Heart rate (bpm)'
    """
    figure, axes = new_axes(ax, width="double", height_mm=74)
    trace = cleaned.traces[session, athlete] if hasattr(cleaned, "traces") else cleaned.trace
    _draw_panel(axes, cleaned, session, athlete, trace, small=False)
    _limit_rates([axes], [trace])
    axes.set_xlabel("Minutes since the start of round 1")
    axes.set_ylabel("Heart rate (bpm)")
    if show_codes:
        axes.set_title(athlete)
    if ax is None:
        _legend_of_flags(figure, [axes])
    counts = trace.loc[trace["flag"] != "", "flag"].value_counts()
    flags = (
        join_words([f"{plural(n, 'sample')} flagged {name}" for name, n in counts.items()])
        or "no sample is flagged"
    )
    rounds = plural(len(_windows(cleaned, session, athlete)), "shaded round")
    return finish(figure, f"Heart rate of one athlete over the session with {rounds}; {flags}.")


def draw_tried(tried, *, ax=None):
    """Draw one trace under other rules, as `try_rules` returns it.

    Parameters
    ----------
    tried : TriedRules
    ax : matplotlib Axes, optional

    Returns
    -------
    matplotlib Figure

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> trace = pd.DataFrame({"clock_s": range(600), "hr_bpm": 140.0, "flag": "", "round_no": 1})
    >>> rounds = pd.DataFrame({"session": ["1"], "athlete": ["A01"], "round_no": [1], "start_s": [60.0], "end_s": [540.0]})
    >>> tried = SimpleNamespace(session="1", athlete="A01", trace=trace, windows=rounds,
    ...     rounds=pd.DataFrame({"round_no": [1], "mean_bpm_tried": [140.0]}))
    >>> draw_tried(tried).axes[0].get_ylabel()
    'Heart rate (bpm)'
    """
    return draw_trace(tried, tried.session, tried.athlete, ax=ax)


def draw_found(samples: pd.DataFrame, found: pd.DataFrame, *, ax=None):
    """Draw the rounds that `find_rounds` placed in a trace, each with its confidence.

    Parameters
    ----------
    samples : DataFrame
        elapsed_s, hr_bpm.
    found : DataFrame
        As `find_rounds` returns it.
    ax : matplotlib Axes, optional

    Returns
    -------
    matplotlib Figure

    Examples
    --------
    >>> samples = pd.DataFrame({"elapsed_s": range(100), "hr_bpm": 120.0})
    >>> found = pd.DataFrame({"round_no": [1], "start_s": [20.0], "end_s": [60.0], "confidence": [0.4]})
    >>> draw_found(samples, found).axes[0].get_xlabel()
    'Minutes since the start of the recording'
    """
    figure, axes = new_axes(ax, width="double", height_mm=70)
    axes.plot(samples["elapsed_s"] / 60, samples["hr_bpm"], color=MAIN, linewidth=0.8)
    for row in found.itertuples(index=False):
        _shade(axes, row.start_s / 60, row.end_s / 60)
        axes.annotate(
            f"round {row.round_no}\nconfidence {format_number(row.confidence, 2)}",
            ((row.start_s + row.end_s) / 120, 1.0),
            xycoords=("data", "axes fraction"),
            ha="center",
            va="bottom",
            fontsize=6.5,
        )
    axes.set_xlabel("Minutes since the start of the recording")
    axes.set_ylabel("Heart rate (bpm)")
    least = f", the least sure at {format_number(found['confidence'].min(), 2)}" if len(found) else ""
    return finish(figure, f"A heart-rate trace with {plural(len(found), 'round')} found in it{least}.")


def _draw_panel(axes, cleaned, session, athlete, trace, *, small: bool) -> None:
    windows = _windows(cleaned, session, athlete)
    zero = float(windows["start_s"].min()) if len(windows) else float(trace["clock_s"].iloc[0])
    minutes = (trace["clock_s"].to_numpy() - zero) / 60
    rates, flags = trace["hr_bpm"].to_numpy(), trace["flag"].to_numpy(dtype=object)
    for row in windows.itertuples(index=False):
        _shade(axes, (row.start_s - zero) / 60, (row.end_s - zero) / 60)
        if not small:
            middle = ((row.start_s + row.end_s) / 2 - zero) / 60
            axes.annotate(
                f"round {row.round_no}",
                (middle, 1.0),
                xycoords=("data", "axes fraction"),
                ha="center",
                va="bottom",
            )
    good = np.where(flags == "", rates, np.nan)
    gap = np.flatnonzero(np.diff(minutes) > 10 / 60)
    axes.plot(np.insert(minutes, gap + 1, minutes[gap]), np.insert(good, gap + 1, np.nan), color=MAIN,
              linewidth=0.6 if small else 0.9, zorder=2)  # fmt: skip
    if not small:
        _draw_means(axes, cleaned, session, athlete, windows, zero)
    for flag, mark in FLAG_MARKS.items():
        hit = np.flatnonzero((flags == flag) & np.isfinite(rates))
        hit = hit[:: max(len(hit) // (25 if small else 60), 1)]
        if len(hit):
            axes.plot(minutes[hit], rates[hit], mark, color=SECOND, markersize=2.0 if small else 3.0, linestyle="none",
                      markeredgewidth=0.7, label=flag, zorder=3)  # fmt: skip
    _mark_lost(axes, minutes, rates, small)


def _limit_rates(panels, traces) -> None:
    """Axis of rates by the good samples; flagged ones beyond it are drawn at the edge."""
    good = [t.loc[t["flag"] == "", "hr_bpm"] for t in traces]
    rates = pd.concat(good).dropna() if good else pd.Series([], dtype=float)
    if rates.empty:
        return
    low, high = max(float(rates.min()) - 20, 0.0), float(rates.max()) + 15
    for panel in panels:
        panel.set_ylim(low, high)
        for line in panel.get_lines():
            if line.get_label() in FLAG_MARKS:
                line.set_ydata(np.clip(line.get_ydata(), low, high))
                line.set_clip_on(False)


def _draw_means(axes, cleaned, session, athlete, windows, zero) -> None:
    if hasattr(cleaned, "rows"):
        rows = cleaned.rows
        rows = rows[(rows["session"] == session) & (rows["athlete"] == athlete)].set_index("round_no")[
            "hr_mean_bpm"
        ]
    else:
        rows = cleaned.rounds.set_index("round_no")["mean_bpm_tried"]
    label = "mean of the round"
    for row in windows.itertuples(index=False):
        mean = rows.get(row.round_no, np.nan)
        if np.isfinite(mean):
            ends = [(row.start_s - zero) / 60, (row.end_s - zero) / 60]
            axes.plot(ends, [mean, mean], color=INK, linestyle="--", linewidth=1.0, label=label, zorder=2.5)
            label = None


def _mark_lost(axes, minutes, rates, small: bool) -> None:
    """Bars at the foot where no heart rate was recorded for longer than 10 s."""
    there = np.flatnonzero(np.isfinite(rates))
    if not len(there):
        return
    height, label = (0.05 if small else 0.04), "no contact"
    for i in np.flatnonzero(np.diff(minutes[there]) > 10 / 60):
        axes.axvspan(
            minutes[there[i]], minutes[there[i + 1]], 0.0, height, color=SECOND, linewidth=0, label=label
        )
        label = None


def _shade(axes, start: float, end: float) -> None:
    axes.axvspan(start, end, color=FAINT, alpha=0.55, linewidth=0, zorder=0)


def _windows(cleaned, session, athlete) -> pd.DataFrame:
    table = cleaned.windows
    return table[(table["session"] == session) & (table["athlete"] == athlete)]


def _first_session(cleaned) -> str:
    return next(iter(cleaned.traces), ("", ""))[0]


def _traces_of(cleaned, session, *, by_code: bool) -> tuple[list, int]:
    all_of_it = [(a, t) for (s, a), t in cleaned.traces.items() if s == session]
    shown = [(a, t) for a, t in all_of_it if a in cleaned.may_show]
    if by_code:
        shown.sort(key=lambda pair: pair[0])
    else:
        shown.sort(key=lambda pair: (-(pair[1]["flag"] == "").sum(), len(pair[1])))
    return shown, len(all_of_it) - len(shown)


def _legend_of_flags(figure, panels) -> None:
    found = {}
    for panel in panels:
        for handle, label in zip(*panel.get_legend_handles_labels(), strict=True):
            found.setdefault(label, handle)
    if found:
        figure.legend(
            found.values(), found.keys(), loc="outside upper left", ncols=min(len(found), 5), markerscale=1.4
        )


def _overview_words(shown, hidden, session) -> str:
    flags = pd.concat([t["flag"] for _, t in shown]) if shown else pd.Series([], dtype="str")
    counts = flags[flags != ""].value_counts()
    words = join_words([f"{name} ({plural(n, 'sample')})" for name, n in counts.items()]) or "none"
    left = f" {plural(hidden, 'trace')} not shown, for lack of consent." if hidden else ""
    return f"Small panels of {plural(len(shown), 'heart-rate trace')} with rounds shaded. Flagged: {words}.{left}"


__all__ = [
    "draw_bounds",
    "draw_costs",
    "draw_found",
    "draw_ledger",
    "draw_missing",
    "draw_overview",
    "draw_trace",
    "draw_tried",
    "round_seconds",
]
