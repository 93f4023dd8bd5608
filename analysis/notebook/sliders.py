"""Sliders for the planning notebook: size, rounds, effect, test error and drop-out move the curves at once."""

from __future__ import annotations

import gc
import io
from functools import cache

from ..basics import KitError, NotYet, format_ci, format_number
from ..cleaning import try_rules
from ..planning import DesignAnswer, power_curves, published_ranges
from ..planning.answer import left_after_losses
from ..telling.cleaning.figures import draw_tried
from ..telling.cleaning.sentences import plain_tried
from .showing import own_machine, show

QUESTIONS = {
    "Does heart rate change over the rounds?": ("heart_rate", "change"),
    "Between which rounds does heart rate change?": ("heart_rate", "steps"),
    "Where does heart rate stop changing?": ("heart_rate", "plateau"),
    "Is heart rate lower in fitter athletes? (slope)": ("heart_rate", "slope"),
    "Is heart rate lower in fitter athletes? (correlation)": ("heart_rate", "correlation"),
    "Does lactate change over the rounds?": ("lactate", "change"),
    "Where does lactate stop changing?": ("lactate", "plateau"),
    "Is lactate lower in fitter athletes? (slope)": ("lactate", "slope"),
}
RANGES = {
    # outcome: step, then the highest smallest effect, expected effect and scatter within an athlete
    "heart_rate": (0.5, 15.0, 25.0, 10.0),
    "lactate": (0.1, 4.0, 8.0, 4.0),
}
SIZES = tuple(range(4, 41, 2))
PIXELS_PER_INCH = 96
TICKS = 4
"""Few ticks and light compression: what takes time while a slider moves is the drawing of text."""


def planning_sliders(answer: DesignAnswer | NotYet):
    """Show power and precision of a question, with sliders for what a club can choose or has to assume."""
    if isinstance(answer, NotYet):
        return answer
    import ipywidgets as widgets

    gc.collect()
    gc.freeze()  # else a collection walks over all that was imported, in the middle of a move: 80 ms for one in 200
    controls = _controls(answer, widgets)
    heads = {name: _head(widgets, control.tooltip) for name, control in controls.items()}
    picture = widgets.Image(format="png", layout=widgets.Layout(width="710px", max_width="100%", object_fit="contain"))
    sentence = widgets.HTML()

    settling = []

    def redraw(_=None):
        if settling:
            return
        values = {name: control.value for name, control in controls.items()}
        try:
            curves = curves_of(answer, values)
        except KitError as error:
            sentence.value = f"<p>{error}</p>"
            return
        picture.value, alt = picture_of(curves)
        sentence.value = f"<p>{alt}</p>"

    def settle(_=None):
        settling.append(True)
        _set_ranges(answer, controls, heads)
        settling.clear()
        redraw()

    for name, control in controls.items():
        control.observe(settle if name == "question" else redraw, "value")
    settle()
    notes = {name: widgets.HTML() for name in controls}

    def annotate(_=None):
        for name, note in notes.items():
            note.value = f"<small>{published_note(name, controls['question'].value)}</small>"

    controls["question"].observe(annotate, "value")
    annotate()
    narrow = widgets.Layout(min_width="0")
    boxes = [widgets.VBox([heads[name], controls[name], notes[name]], layout=narrow) for name in controls]
    columns = "repeat(auto-fit, minmax(min(290px, 100%), 1fr))"
    grid = widgets.GridBox(boxes, layout=widgets.Layout(grid_template_columns=columns, grid_gap="4px 24px"))
    return widgets.VBox([grid, picture, sentence])


def _wide(widgets, **more):
    """The whole width of its place: a label beside a slider would leave it no track."""
    return widgets.Layout(width="98%", min_width="0", **more)


def _head(widgets, words: str):
    return widgets.HTML(f"<b>{words}</b>")


def curves_of(answer: DesignAnswer, values: dict):
    """Work out the curves for one position of the sliders."""
    from dataclasses import replace

    outcome, part = values.get("question") or ("heart_rate", "change")
    design = replace(
        answer.design,
        n=values.get("n", answer.n),
        rounds=values.get("rounds", answer.rounds),
        **({"smallest": {outcome: values["smallest"]}} if "smallest" in values else {}),
    )
    changes = {"test_error": values["test_error"]} if "test_error" in values else {}
    changes |= {"leave": values["leave"] / 100} if "leave" in values else {}
    size: dict = {"sd_within": values["within"]} if "within" in values else {}
    if "effect" in values:
        size |= (
            {"slope": -values["effect"] / design.capacity_step}
            if part in ("slope", "correlation")
            else {"rise": values["effect"]}
        )
    truth = answer.assumptions.but(**changes, **({outcome: size} if size else {}))
    left = left_after_losses(design.n, design.rounds, truth.leave)
    return power_curves(design, truth, outcome=outcome, part=part, sizes=sorted({*SIZES, left}))


def published_note(name: str, question: tuple[str, str]) -> str:
    """Say what has been published about what a slider sets."""
    outcome, part = question
    if name == "within":
        return "no published value found; our proposal"
    if name == "smallest":
        return "would you change training for less?"
    if name == "leave":
        return "share of athletes; our proposal"
    field = {"test_error": "test_error", "effect": f"{outcome}.rise"}.get(name, "")
    if name == "effect" and part in ("slope", "correlation"):
        return "between a fit and a less fit athlete; no published value in these units"
    found = published_ranges().set_index("assumption")
    if field not in found.index:
        return ""
    row = found.loc[field]
    span = format_number(row["low"]) if row["low"] == row["high"] else format_ci(row["low"], row["high"])
    whose = " for a laboratory test" if name == "test_error" else ""
    return f"published{whose}: {span} {row['unit']}"


def picture_of(curves) -> tuple[bytes, str]:
    """Draw power and precision side by side, as a PNG, quickly."""
    from ..telling.planning.figures import draw_power_and_precision

    figure, axes = _empty_figure()
    draw_power_and_precision(curves, ax=axes)
    made = io.BytesIO()
    figure.savefig(made, format="png", dpi=PIXELS_PER_INCH, pil_kwargs={"compress_level": 1})
    return made.getvalue(), figure.alt_text


@cache
def _new_figure():
    """One figure for all moves of the sliders: its axes and ticks are what takes longest to make."""
    import matplotlib
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

    from ..telling.style import STYLE

    matplotlib.rcParams.update(STYLE)
    figure = Figure(figsize=(7.4, 3.1), dpi=PIXELS_PER_INCH)
    FigureCanvasAgg(figure)
    axes = figure.subplots(1, 2)
    figure.subplots_adjust(left=0.075, right=0.985, bottom=0.15, top=0.74, wspace=0.24)
    for ax in axes:
        ax.xaxis.set_major_locator(MaxNLocator(TICKS))
        ax.yaxis.set_major_locator(MaxNLocator(TICKS))
    return figure, axes


def _empty_figure():
    """The figure without what the last move drew."""
    figure, axes = _new_figure()
    for ax in axes:
        for artist in [*ax.lines, *ax.collections, *ax.texts, *ax.patches, *([ax.legend_] if ax.legend_ else [])]:
            artist.remove()
        ax.set_prop_cycle(None)
        ax.relim()
        ax.autoscale(True)
    for artist in [*figure.texts, *figure.legends]:
        artist.remove()
    return figure, axes


def _controls(answer: DesignAnswer, widgets) -> dict:
    truth = answer.assumptions

    def slider(kind, label, value, low, high, step):
        shown = {"tooltip": label, "layout": _wide(widgets), "continuous_update": True}
        return kind(value=value, min=low, max=high, step=step, **shown)

    whole, number = widgets.IntSlider, widgets.FloatSlider
    most_error = round(truth.capacity_sd - 0.2, 1)
    return {
        "question": widgets.Dropdown(options=list(QUESTIONS.items()), tooltip="Question", layout=_wide(widgets)),
        "n": slider(whole, "Athletes who start", min(max(answer.n_to_recruit, 4), 40), 4, 40, 1),
        "rounds": slider(whole, "Rounds", min(max(answer.rounds, 2), 8), 2, 8, 1),
        "smallest": slider(number, "", 1.0, 0.1, 15.0, 0.1),
        "effect": slider(number, "", 1.0, 0.1, 25.0, 0.1),
        "within": slider(number, "", 1.0, 0.1, 10.0, 0.1),
        "test_error": slider(number, "Fitness test's error (mL/kg/min)", truth.test_error, 0.0, most_error, 0.1),
        "leave": slider(whole, "Leave per round (%)", round(100 * truth.leave), 0, 25, 1),
    }


def _set_ranges(answer: DesignAnswer, controls: dict, heads: dict) -> None:
    """Give the three sliders that carry a unit the words, the range and the starting value of the question."""
    outcome, part = controls["question"].value
    unit = {"heart_rate": "bpm", "lactate": "mmol/L"}[outcome]
    size, step = getattr(answer.assumptions, outcome), answer.design.capacity_step
    fitness = part in ("slope", "correlation")
    starts = {
        "smallest": ("Smallest that matters", answer.design.smallest_of(outcome)),
        "effect": ("Expected", abs(size.slope) * step if fitness else abs(size.rise)),
        "within": ("Scatter in an athlete", size.sd_within),
    }
    tick, *highest = RANGES[outcome]
    for (name, (words, value)), high in zip(starts.items(), highest, strict=True):
        control = controls[name]
        control.max = max(high, value)
        control.min, control.step, control.value = tick, tick, value
        control.tooltip = f"{words} ({unit})"
        heads[name].value = f"<b>{control.tooltip}</b>"


SLIDERS = {
    "flat_s": ("A flat line is set aside after (s)", 5.0, 90.0, 5.0, ".0f"),
    "jump_bpm": ("A jump is one of at least (bpm)", 4.0, 40.0, 2.0, ".0f"),
    "least_valid_share": ("A round needs at least this share of valid time", 0.5, 1.0, 0.05, ".2f"),
}
"""Rule -> words, lowest, highest and step of its slider, and how its value is shown."""


def slide_rules(cleaned, *, show_codes: bool | None = None) -> None:
    """Show sliders for a few rules and what they would change in one trace."""
    show_codes = own_machine() if show_codes is None else show_codes
    traces = [] if isinstance(cleaned, NotYet) else choices_of(cleaned, show_codes=show_codes)
    if not traces:
        return
    import ipywidgets as widgets
    from IPython.display import display

    values = cleaned.rules.set_index("parameter")["value"]
    sliders = {
        name: widgets.FloatSlider(value=float(values[name]), min=low, max=high, step=step, readout_format=shown, tooltip=words,
                                  continuous_update=False, layout=_wide(widgets, max_width="620px"))
        for name, (words, low, high, step, shown) in SLIDERS.items()
    }  # fmt: skip
    choice = widgets.Dropdown(options=traces, tooltip="Trace", layout=_wide(widgets, max_width="620px"))

    def redraw(key, **changes):
        show(try_rules(cleaned, *key, **changes), draw_tried, plain_tried)

    picture = widgets.interactive_output(redraw, {"key": choice, **sliders})
    controls = [w for c in (choice, *sliders.values()) for w in (_head(widgets, c.tooltip), c)]
    display(widgets.VBox([*controls, picture]))


def choices_of(cleaned, *, show_codes: bool = False) -> list[tuple[str, tuple[str, str]]]:
    """List the traces that may be shown alone, as (words, key), most flagged samples first."""
    keys = [k for k in cleaned.traces if k[1] in cleaned.may_show]
    keys.sort(key=lambda k: -int((cleaned.traces[k]["flag"] != "").sum()))
    return [(f"session {s}, {a}" if show_codes else f"trace {i}", (s, a)) for i, (s, a) in enumerate(keys, start=1)]


def draw_most_flagged(cleaned, *, show_codes: bool = False):
    """Draw the trace with most flagged samples among those that may be shown alone; None where there is none."""
    from ..telling.cleaning.figures import draw_trace

    traces = choices_of(cleaned)
    return draw_trace(cleaned, *traces[0][1], show_codes=show_codes) if traces else None
