"""Pictures of cleaning: traces of a session, one in detail or under other rules, rounds that were found, and the account."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ...basics import format_number, join_words, plural, upper_first
from ..style import FAINT, INK, MAIN, QUIET, SECOND, finish, legend_above, new_axes, new_panels, say_empty
from .tables import round_seconds

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

    `session`: default: the first with traces. `show_codes`: write the athletes' codes. Default: the panels carry none and
    are ordered by valid time, since a shared picture must not tell who is who. Traces of athletes who did not agree to be
    shown alone are never drawn.

    >>> figure = draw_overview(answers.cleaned)
    """
    session = session if session is not None else next(iter(cleaned.traces), ("", ""))[0]
    all_of_it = [(a, t) for (s, a), t in cleaned.traces.items() if s == session]
    shown = [(a, t) for a, t in all_of_it if a in cleaned.may_show]
    shown.sort(key=lambda pair: pair[0] if show_codes else (-(pair[1]["flag"] == "").sum(), len(pair[1])))
    hidden = len(all_of_it) - len(shown)
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
        legend_above(figure, panels[: len(shown)], ax, markerscale=1.4)
    flags = pd.concat([t["flag"] for _, t in shown]) if shown else pd.Series([], dtype="str")
    counts = flags[flags != ""].value_counts()
    words = join_words([f"{name} ({plural(n, 'sample')})" for name, n in counts.items()]) or "none"
    left = f" {plural(hidden, 'trace')} not shown, for lack of consent." if hidden else ""
    traces = plural(len(shown), "heart-rate trace")
    return finish(figure, f"Small panels of {traces} with rounds shaded. Flagged: {words}.{left}")


def draw_trace(cleaned, session: str, athlete: str, *, show_codes: bool = False, ax=None):
    """Draw the trace of one athlete in one session, with rounds, round means, flags and lost contact.

    `show_codes`: write the athlete's code above.

    >>> figure = draw_trace(answers.cleaned, *next(iter(answers.cleaned.traces)))
    """
    figure, axes = new_axes(ax, width="double", height_mm=74)
    trace = cleaned.traces[session, athlete] if hasattr(cleaned, "traces") else cleaned.trace
    _draw_panel(axes, cleaned, session, athlete, trace, small=False)
    _limit_rates([axes], [trace])
    axes.set_xlabel("Minutes since the start of round 1")
    axes.set_ylabel("Heart rate (bpm)")
    if show_codes:
        axes.set_title(athlete)
    legend_above(figure, axes, ax, markerscale=1.4)
    counts = trace.loc[trace["flag"] != "", "flag"].value_counts()
    flags = join_words([f"{plural(n, 'sample')} flagged {name}" for name, n in counts.items()])
    rounds = plural(len(_windows(cleaned, session, athlete)), "shaded round")
    said = f"Heart rate of one athlete over the session with {rounds}"
    return finish(figure, f"{said}; {flags or 'no sample is flagged'}.")


def draw_tried(tried, *, ax=None):
    """Draw one trace under other rules, as `try_rules` returns it.

    >>> from analysis.cleaning import try_rules
    >>> figure = draw_tried(try_rules(answers.cleaned, *next(iter(answers.cleaned.traces)), jump_bpm=20))
    """
    return draw_trace(tried, tried.session, tried.athlete, ax=ax)


def _draw_panel(axes, cleaned, session, athlete, trace, *, small: bool) -> None:
    windows = _windows(cleaned, session, athlete)
    zero = float(windows["start_s"].min()) if len(windows) else float(trace["clock_s"].iloc[0])
    minutes = (trace["clock_s"].to_numpy() - zero) / 60
    rates, flags = trace["hr_bpm"].to_numpy(), trace["flag"].to_numpy(dtype=object)
    for row in windows.itertuples(index=False):
        ends = [(row.start_s - zero) / 60, (row.end_s - zero) / 60]
        axes.axvspan(*ends, color=FAINT, alpha=0.55, linewidth=0, zorder=0)
        if not small:
            place = {"xycoords": ("data", "axes fraction"), "ha": "center", "va": "bottom"}
            axes.annotate(f"round {row.round_no}", (sum(ends) / 2, 1.0), **place)
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
        rows = rows[(rows["session"] == session) & (rows["athlete"] == athlete)].set_index("round_no")["hr_mean_bpm"]
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
        axes.axvspan(minutes[there[i]], minutes[there[i + 1]], 0.0, height, color=SECOND, linewidth=0, label=label)
        label = None


def _windows(cleaned, session, athlete) -> pd.DataFrame:
    table = cleaned.windows
    return table[(table["session"] == session) & (table["athlete"] == athlete)]


HOLLOW = {"color": SECOND, "markerfacecolor": "white", "markeredgewidth": 1.3, "markersize": 7, "linestyle": "none"}
"""A hollow mark, so that a filled one on it can be seen."""


def draw_ledger(cleaned, *, ax=None):
    """Draw what became of the seconds of all rounds with a recording: used, and set aside by cause.

    >>> figure = draw_ledger(answers.cleaned)
    """
    table = round_seconds(cleaned)
    figure, axes = new_axes(ax, width="double", height_mm=22 + 7 * max(len(table), 1))
    total = table["seconds"].sum()
    shares = 100 * table["seconds"] / total if total > 0 else table["seconds"] * 0
    place = np.arange(len(table))[::-1]
    colours = [MAIN if used else FAINT for used in table["used"]]
    axes.barh(place, shares, color=colours, edgecolor=INK, linewidth=0.5, height=0.62)
    inside = {"xytext": (-4, 0), "ha": "right", "color": "white"}
    beside = {"xytext": (4, 0), "ha": "left", "color": INK}
    for y, share, s in zip(place, shares, table["seconds"], strict=True):
        lasting = format_number(s, 0, unit="s") if s < 60 else format_number(s / 60, 1, unit="min")
        words = f"{format_number(share, 1, unit='%')}  ({lasting})"
        at = inside if share > 55 else beside
        axes.annotate(words, (share, y), textcoords="offset points", va="center", **at)
    axes.set_yticks(place, [upper_first(c) for c in table["cause"]])
    axes.set_xlim(0, 100)
    axes.set_xlabel("Share of the time in rounds (%)")
    axes.tick_params(left=False)
    parts = [f"{c} {format_number(s, 1, unit='%')}" for c, s in zip(table["cause"], shares, strict=True)]
    return finish(figure, f"Bars of what became of the time in rounds: {join_words(parts) or 'no recording'}.")


def draw_costs(cleaned, *, ax=None):
    """Draw what each rule costs: by how much round means would move were its samples kept.

    >>> figure = draw_costs(answers.cleaned)
    """
    table = cleaned.costs[cleaned.costs["largest_change_bpm"].notna()].reset_index(drop=True)
    figure, axes = new_axes(ax, width="double", height_mm=26 + 8 * max(len(table), 1))
    place = np.arange(len(table))[::-1]
    axes.hlines(place, 0, table["largest_change_bpm"], color=QUIET, linewidth=1.2)
    axes.plot(table["largest_change_bpm"], place, "D", **HOLLOW, label="largest round")
    axes.plot(table["mean_change_bpm"], place, "o", color=MAIN, linestyle="none", label="mean of the rounds touched")
    names = [
        f"{upper_first(flag)} ({format_number(seconds, 0, unit='s')}, {plural(rounds, 'round')})"
        for flag, seconds, rounds in zip(table["flag"], table["seconds"], table["rounds"], strict=True)
    ]
    axes.set_xlim(left=0)
    axes.set_xlabel("Change of the round mean were the samples kept (bpm)")
    _name_means(axes, names, (0, 1), "no flagged sample inside a round")
    legend_above(figure, axes if names else [], ax, ncols=2)
    largest = zip(table["flag"], table["largest_change_bpm"], strict=True)
    parts = [f"{flag} {format_number(v, 1, unit='bpm')}" for flag, v in largest]
    return finish(figure, f"Largest change of a round mean were flagged samples kept: {join_words(parts) or 'none'}.")


def _first_evening(cleaned) -> pd.DataFrame:
    rows = cleaned.rows[cleaned.rows["round_no"] > 0]
    return rows[rows["session"] == rows["session"].iloc[0]] if len(rows) else rows


BLOCKS = {"hr_mean_bpm": "Heart rate", "lactate_mmol_l": "Lactate", "exertion": "Exertion"}
"""Outcome -> the title of its block in the map of what is missing."""


def draw_missing(cleaned, *, show_codes: bool = False, ax=None):
    """Draw a map of athletes and rounds, one block per outcome: dark where there is a value, with a white mark where it is odd.

    Of the first session with rounds. `show_codes`: write the athletes' codes beside the rows; otherwise rows are ordered by
    what they have and carry no name.

    >>> figure = draw_missing(answers.cleaned)
    """
    rows = _first_evening(cleaned)
    shown = [o for o in BLOCKS if o in rows and (rows[o].notna().any() or o == "hr_mean_bpm")]
    kinds = {o: _kinds_of(rows, o) for o in shown}
    have = sum((k == "value").astype(int) for k in kinds.values()).groupby(rows["athlete"]).sum()
    order = list(have.index) if show_codes else list(have.sort_values(ascending=False, kind="stable").index)
    place = {a: i for i, a in enumerate(order)}
    rounds = sorted(set(rows["round_no"]))
    height = 34 + 4.0 * max(len(order), 1)
    figure, panels = new_panels(ax, count=max(len(shown), 1), width="double", height_mm=height, sharey=True)
    used = {}
    for panel, outcome in zip(panels, shown, strict=False):
        for kind, (face, mark, _) in CELLS.items():
            here = rows[(kinds[outcome] == kind).to_numpy()]
            if here.empty:
                continue
            x, y = [rounds.index(k) for k in here["round_no"]], [place[a] for a in here["athlete"]]
            panel.scatter(x, y, marker="s", s=68, color=face, edgecolor=QUIET, linewidth=0.4, zorder=2)
            if mark:
                panel.scatter(x, y, marker=mark, s=22, color="white", linewidth=1.1, zorder=3)
            used[kind] = True
        panel.set_title(BLOCKS[outcome], loc="left")
        panel.set_xticks(range(len(rounds)), [str(k) for k in rounds])
        panel.set_yticks(range(len(order)), order if show_codes else [""] * len(order))
        panel.set(xlabel="Round", xlim=(-0.6, len(rounds) - 0.4), ylim=(max(len(order), 1) - 0.4, -0.6))
        panel.tick_params(length=0)
        for side in panel.spines.values():
            side.set_visible(False)
    panels[0].set_ylabel("Athlete" if show_codes else "Athletes")
    if ax is None:
        figure.legend(handles=[_cell_handle(k) for k in CELLS if k in used], loc="outside upper left", ncols=len(used),
                      handletextpad=0.3, columnspacing=1.0)  # fmt: skip
    counts = {o: ((kinds[o] == "value").sum(), (kinds[o] != "out").sum()) for o in shown}
    said = ", ".join(f"{BLOCKS[o].lower()} {there} of {all_of_them}" for o, (there, all_of_them) in counts.items())
    what = f"Map of {plural(len(order), 'athlete')} by {plural(len(rounds), 'round')}, one block per outcome"
    return finish(figure, f"{what}; values in rounds that were sparred: {said}.")


CELLS = {
    "value": (MAIN, "", "measured"),
    "typed": (MAIN, "_", "typed from a display"),
    "limit": (MAIN, "^", "off the scale"),
    "missing": ("#a9a9a9", "x", "missing"),
    "out": ("white", "", "sat out or had left"),
}
"""Kind of cell -> its colour, the white mark on it, its words."""


def _kinds_of(rows: pd.DataFrame, outcome: str) -> pd.Series:
    """What stands behind each cell of the map."""
    kind = pd.Series(np.where(rows[outcome].notna(), "value", "missing"), index=rows.index)
    if outcome == "hr_mean_bpm":
        kind = kind.mask(rows["hr_source"].eq("typed") & rows[outcome].notna(), "typed")
    if outcome == "lactate_mmol_l" and "lactate_limit" in rows:
        kind = kind.mask(rows["lactate_limit"].ne("") & rows["lactate_limit"].notna(), "limit")
    return kind.mask(rows["took_part"].isin(["sat_out", "left"]), "out")


def _cell_handle(kind: str):
    from matplotlib.lines import Line2D

    face, mark, words = CELLS[kind]
    signs = {"": "", "_": " (\N{EN DASH})", "^": " (\N{BLACK UP-POINTING TRIANGLE})", "x": " (\N{MULTIPLICATION SIGN})"}
    return Line2D(
        [], [], marker="s", linestyle="", markersize=7, color=face, markeredgecolor=QUIET, label=words + signs[mark]
    )


def draw_time_in_bands(cleaned, *, ax=None):
    """Draw the minutes of each round that were spent in each band of intensity, on average over athletes.

    Of the first session with rounds; None where nobody's maximum was measured.

    >>> figure = draw_time_in_bands(answers.cleaned)
    """
    from matplotlib.colors import LinearSegmentedColormap

    rows = _first_evening(cleaned).dropna(subset=list(BANDS))
    rows = rows[rows[list(BANDS)].sum(axis=1) > 0]
    if rows.empty:
        return None
    means = rows.groupby("round_no")[list(BANDS)].mean() / 60.0
    figure, panel = new_axes(ax, width="single", height_mm=70)
    foot = np.zeros(len(means))
    shades = LinearSegmentedColormap.from_list("valid", ["#f4f1ea", MAIN])  # from near white to the main colour
    look = {"edgecolor": "white", "linewidth": 0.6, "width": 0.7}
    for (band, words), shade in zip(BANDS.items(), np.linspace(0.12, 1.0, len(BANDS)), strict=True):
        panel.bar(range(len(means)), means[band], bottom=foot, color=shades(shade), label=words, **look)
        foot = foot + means[band].to_numpy()
    n = rows.groupby("round_no")["athlete"].nunique()
    panel.set_xticks(range(len(means)), [f"{k}\nn {n[k]}" for k in means.index])
    panel.set(xlabel="Round", ylabel="Minutes of a round")
    legend_above(figure, panel, ax, ncols=2)
    low, high = (format_number(v, 1) for v in means[list(BANDS)[-2:]].sum(axis=1).agg(["min", "max"]))
    what = "Minutes per band of intensity in each round"
    return finish(figure, f"{what}; vigorous and near-maximal together from {low} to {high} minutes.")


BANDS = {
    "very_light_s": "very light",
    "light_s": "light",
    "moderate_s": "moderate",
    "vigorous_s": "vigorous",
    "near_maximal_s": "near-maximal",
}
"""Column of the seconds in a band -> its words."""


def draw_bounds(cleaned, *, ax=None):
    """Draw the round means that rest on less than their whole round, with the worst and best case of what is missing.

    >>> figure = draw_bounds(answers.cleaned)
    """
    table = cleaned.bounds[(cleaned.bounds["aside_s"] > 2) & cleaned.bounds["mean_bpm"].notna()]
    table = table.sort_values("aside_s", ascending=False, kind="stable").head(24).reset_index(drop=True)
    figure, axes = new_axes(ax, width="double", height_mm=28 + 5.5 * max(len(table), 1))
    place = np.arange(len(table))[::-1]
    cases = {"color": QUIET, "linewidth": 3, "label": "worst and best case"}
    axes.hlines(place, table["mean_low_bpm"], table["mean_high_bpm"], **cases)
    axes.plot(table["mean_kept_bpm"], place, "D", **HOLLOW, label="flagged samples kept")
    axes.plot(table["mean_bpm"], place, "o", color=MAIN, linestyle="none", label="flagged samples set aside")
    lost = [format_number(s, 0, unit="s") for s in table["aside_s"]]
    names = [f"{s} missing, round {k}" for s, k in zip(lost, table["round_no"], strict=True)]
    axes.set_xlabel("Mean heart rate of the round (bpm)")
    _name_means(axes, names, (100, 200), "every round is whole")
    legend_above(figure, axes if names else [], ax, ncols=3)
    width = (table["mean_high_bpm"] - table["mean_low_bpm"]).max() if len(table) else 0.0
    what = f"{plural(len(table), 'round mean')} with missing time, each with its worst and best case"
    return finish(figure, f"{what}; the widest range is {format_number(width, 1, unit='bpm')}.")


def _name_means(axes, names: list[str], limits, nothing: str) -> None:
    """Name the rows, the first at the top; where there is none, say so inside these limits."""
    axes.set_yticks(range(len(names))[::-1], names)
    axes.set_ylim(-0.7, len(names) - 0.3 if names else 0.7)
    axes.tick_params(left=False)
    if not names:
        axes.set_xlim(*limits)
        say_empty(axes, nothing)
