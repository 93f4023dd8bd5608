"""Pictures of a training study: flow, baseline against follow-up, athletes, effect, reference set, dose, power."""

from __future__ import annotations

from functools import partial

import numpy as np

from ...basics import format_ci, format_number, plural
from ...training.before_after import BeforeAfter
from ..document import Picture
from ..style import FAINT, INK, LINES, MAIN, MARKERS, QUIET, SECOND, finish, new_axes

LOOK = {
    "trained": {"color": MAIN, "marker": "o", "linestyle": "-"},
    "control": {"color": SECOND, "marker": "s", "linestyle": "--"},
    "all": {"color": MAIN, "marker": "o", "linestyle": "-"},
}


def draw_flow(one, *, ax=None):
    """Draw how many athletes went from allocation to analysis, by group.

    >>> figure = draw_flow(training.outcomes["capacity"])
    """
    figure, ax = new_axes(ax, width="single", height_mm=66)
    words = ("allocated", "with a baseline", "with a follow-up", "analysed")
    levels = [-level for level in range(len(words))]
    box = {"boxstyle": "square,pad=0.5", "facecolor": "white", "edgecolor": INK, "linewidth": 0.8}
    said = []
    for x, line in enumerate(one.flow.to_dict("records")):
        ax.plot([x] * len(levels), levels, color=INK, linewidth=0.8)
        for level, column in zip(levels, ("allocated", "baseline", "followup", "analysed"), strict=True):
            ax.text(x, level, str(line[column]), ha="center", va="center", bbox=box)
        said.append(f"{line['arm']}: {line['allocated']} allocated, {line['analysed']} analysed")
    ax.set_xticks(range(len(one.flow)), list(one.flow["arm"]))
    ax.set_yticks(levels, words)
    ax.tick_params(length=0)
    ax.spines[["left", "bottom"]].set_visible(False)
    ax.set(xlim=(-0.6, len(one.flow) - 0.4), ylim=(-len(levels) + 0.4, 0.5), xlabel="Group as drawn (athletes)")
    return finish(figure, f"Athletes from allocation to analysis, {one.label.lower()}. {'; '.join(said)}.")


def draw_lines(one, *, ax=None):
    """Draw baseline against follow-up of every athlete, with the two lines of the planned analysis.

    >>> figure = draw_lines(training.outcomes["capacity"])
    """
    import seaborn as sns

    figure, ax = new_axes(ax, width="single", height_mm=75)
    table, slope = one.athletes, one.main.slope
    ends = np.array([table["pre"].min(), table["pre"].max()])
    ax.plot(ends, ends, color=QUIET, linewidth=0.8, linestyle=":", label="no change")
    shift = one.main.estimate
    level = (table["post"] - slope * table["pre"] - shift * (table["arm"] == "trained")).mean()
    for arm, add in (("control", 0.0), ("trained", shift)):
        ax.plot(ends, level + add + slope * ends, color=LOOK[arm]["color"], linestyle=LOOK[arm]["linestyle"])
    looks = {word: {arm: look[word] for arm, look in LOOK.items()} for word in ("color", "marker")}
    sns.scatterplot(
        table, x="pre", y="post", hue="arm", style="arm", palette=looks["color"], markers=looks["marker"], s=22, linewidth=0,
        ax=ax,
    )  # fmt: skip
    ax.set(xlabel=f"Before ({one.unit})", ylabel=f"After ({one.unit})")
    ax.legend(loc="best")
    return finish(
        figure,
        f"{one.label} after against before, one mark per athlete; parallel lines of the planned analysis lie "
        f"{format_number(one.main.estimate, one.digits, unit=one.unit)} apart.",
    )


def draw_athletes(one, *, ax=None):
    """Draw each athlete before and after, with the error band of the test around no change.

    >>> figure = draw_athletes(training.outcomes["capacity"])
    """
    figure, ax = new_axes(ax, width="double", height_mm=70)
    table = one.athletes
    arms = [a for a in ("trained", "control", "all") if "arm" in table and (table["arm"] == a).any()] or ["all"]
    table = table if "arm" in table else table.assign(arm="all")
    start, ticks = 0, []
    if np.isfinite(one.detectable):
        ax.axhspan(-one.detectable, one.detectable, color=FAINT, linewidth=0, label="within the error of the test")
    ax.axhline(0, color=QUIET, linewidth=0.8, linestyle=":")
    for arm in arms:
        own, look = table[table["arm"] == arm].sort_values("change"), LOOK[arm]
        x = np.arange(start, start + len(own))
        ax.vlines(x, 0, own["change"], color=look["color"], linewidth=1.0, linestyle=look["linestyle"])
        name = "athletes" if arm == "all" else arm
        ax.plot(x, own["change"], linestyle="none", marker=look["marker"], color=look["color"], label=name)
        ticks.append((x.mean() if len(x) else start, name))
        start += len(own) + 1
    ax.set_xticks([t for t, _ in ticks], [name for _, name in ticks])
    ax.tick_params(axis="x", length=0)
    ax.set(xlabel="Athletes, one line each", ylabel=f"After minus before ({one.unit})")
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3)
    band = "the error of the test is not known"
    if np.isfinite(one.detectable):
        beyond = f"{int((~table['within_error']).sum())} of {plural(len(table), 'athlete')}"
        size = format_number(one.detectable, one.digits, unit=one.unit)
        band = f"{beyond} changed by more than {size}, the error of the test"
    return finish(figure, f"Change of each athlete in {one.label.lower()}, ordered inside the groups; {band}.")


def draw_effects(answer, *, ax=None):
    """Draw the effect on every outcome beside the smallest worthwhile gain, in multiples of it.

    >>> figure = draw_effects(training)
    """
    found = list(answer.outcomes.values())
    figure, ax = new_axes(ax, width="double", height_mm=18 + 13 * len(found))
    ax.axvline(0, color=QUIET, linewidth=0.8, linestyle=":")
    ax.axvspan(-1, 1, color=FAINT, linewidth=0, label="too small to be worth the training")
    said = []
    for place, one in enumerate(found[::-1]):
        main, scale = one.main, one.wanted / one.smallest
        ends = sorted((main.ci_low * scale, main.ci_high * scale))
        ax.plot(ends, [place, place], color=INK, linewidth=1.4)
        ax.plot(main.estimate * scale, place, marker="D", color=MAIN, linestyle="none")
        size = format_number(main.estimate, one.digits, unit=one.unit)
        said.append(f"{one.label} {size} ({format_ci(main.ci_low, main.ci_high, one.digits)})")
    ax.set_yticks(range(len(found)), [one.label for one in found[::-1]])
    ax.set(xlabel="Multiples of the smallest worthwhile gain, wanted direction to the right")
    ax.set_ylim(-0.6, len(found) - 0.4)
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0))
    return finish(figure, f"Effect of the added training with 95 % intervals: {'; '.join(said[::-1])}.")


def draw_reference_set(one, *, ax=None):
    """Draw the studentised difference under every allocation that could have been drawn, and the observed one.

    >>> figure = draw_reference_set(training.outcomes["capacity"])
    """
    import seaborn as sns

    figure, ax = new_axes(ax, width="single", height_mm=65)
    chance = one.randomisation
    values = np.clip(np.array(chance.statistics), -12, 12)
    bins = min(40, max(8, len(values) // 6))
    sns.histplot(values, bins=bins, color=FAINT, edgecolor=QUIET, linewidth=0.5, alpha=1, ax=ax)
    observed = float(np.clip(chance.statistic, -12, 12))
    ax.axvline(observed, color=MAIN, linewidth=1.6, label="as drawn")
    ax.axvline(-observed, color=MAIN, linewidth=0.8, linestyle="--", label="as large the other way")
    ax.set(xlabel="Studentised difference", ylabel="Allocations")
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2)
    return finish(
        figure,
        f"{one.label}: studentised difference under {chance.n_allocations} possible allocations; {chance.as_extreme} are as far "
        f"from 0 as the one that was drawn ({format_number(chance.statistic, 2)}).",
    )


def draw_dose(adherence, *, ax=None):
    """Draw the weekly dose of each athlete by kind of session, by group.

    >>> figure = draw_dose(training.adherence)
    """
    figure, ax = new_axes(ax, width="double", height_mm=70)
    table = adherence.athletes.sort_values(["arm", "athlete"], ascending=[False, True]).reset_index(drop=True)
    x = np.arange(len(table)) + (table["arm"] != table["arm"].iloc[0]).to_numpy() * 1.0
    low = np.zeros(len(table))
    for kind, shade, hatch in (("intervals", MAIN, ""), ("sparring", FAINT, "//"), ("other", "white", "..")):
        height = table[f"dose_{kind}"].fillna(0).to_numpy()
        ax.bar(x, height, bottom=low, color=shade, edgecolor=INK, linewidth=0.5, hatch=hatch, label=kind)
        low = low + height
    centres = [x[(table["arm"] == arm).to_numpy()].mean() for arm in dict.fromkeys(table["arm"])]
    ax.set_xticks(centres, list(dict.fromkeys(table["arm"])))
    ax.tick_params(axis="x", length=0)
    ax.set(xlabel="Athletes, one bar each", ylabel="Dose a week (rating × minutes)")
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3)
    means = "; ".join(
        f"{r.arm}: intervals {format_number(r.dose_intervals, 0)}, sparring {format_number(r.dose_sparring, 0)}"
        for r in adherence.groups.itertuples()
    )
    return finish(figure, f"Weekly dose (rating times minutes) of each athlete by kind of session. Means, {means}.")


def draw_training_power(plan, *, ax=None):
    """Draw the power by athletes per group, one line per true gain.

    >>> from analysis.training import plan_training
    >>> draw_training_power(plan_training(sizes=[6, 12], sd_between=5, typical_error=2)).alt_text[:8]
    'Share of'
    """
    figure, ax = new_axes(ax, width="single", height_mm=70)
    for i, (effect, part) in enumerate(plan.table.groupby("effect")):
        look = {"marker": MARKERS[i % len(MARKERS)], "linestyle": LINES[i % len(LINES)]}
        look |= {"color": (MAIN, SECOND, INK, QUIET)[i % 4], "label": f"gain {format_number(effect, 1)}"}
        ax.plot(part["n_per_group"], 100 * part["power"], **look)
    ax.axhline(80, color=QUIET, linewidth=0.8, linestyle=":")
    ax.set(xlabel="Athletes in each group", ylabel="Studies that find it (%)", ylim=(0, 103))
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2)
    sizes = f"{plan.table['n_per_group'].min()} to {plan.table['n_per_group'].max()}"
    return finish(
        figure,
        f"Share of studies that find a true gain, for {sizes} athletes in each group, SD between athletes "
        f"{format_number(plan.sd_between, 1)} and typical error {format_number(plan.typical_error, 1)}; dotted line at 80 %.",
    )


def training_pictures(answer) -> list[Picture]:
    """Every picture of a training study, the answers first."""
    randomised = {k: o for k, o in answer.outcomes.items() if not isinstance(o, BeforeAfter)}
    made = []

    def add(key: str, draw, what, caption: str) -> None:
        made.append(Picture(f"training_{key}", partial(draw, what), caption))

    if randomised:
        caption = "Effect of the added training with its 95\N{NO-BREAK SPACE}% interval, in smallest worthwhile gains."
        add("effects", draw_effects, answer, caption)
    for name, one in randomised.items():
        caption = f"{one.label} after against before, with the lines of the planned analysis."
        add(f"lines_{name}", draw_lines, one, caption)
    for name, one in answer.outcomes.items():
        caption = f"Change of each athlete in {one.label.lower()}, with the error of the test shaded."
        add(f"athletes_{name}", draw_athletes, one, caption)
    for i, (name, one) in enumerate(randomised.items()):
        caption = f"{one.label}: the studentised difference under every allocation that could have been drawn."
        add(f"set_{name}", draw_reference_set, one, caption)
        if i == 0:
            caption = f"Athletes from allocation to analysis, {one.label.lower()}."
            add(f"flow_{name}", draw_flow, one, caption)
    if answer.adherence is not None:
        add("dose", draw_dose, answer.adherence, "Weekly dose of each athlete by kind of session.")
    return made
