"""Sliders for trying other cleaning rules on one trace; an exported page shows a sentence in their place."""

from __future__ import annotations

from ...basics import NotYet
from ...cleaning import try_rules
from ...figures.cleaning import draw_tried
from ..notebook import show
from .cleaning import plain_tried

SLIDERS = {"flat_s": (5.0, 90.0, 5.0), "jump_bpm": (4.0, 40.0, 2.0), "least_valid_share": (0.5, 1.0, 0.05)}
"""Rule -> lowest, highest and step of its slider."""


def slide_rules(cleaned, *, show_codes: bool = False) -> None:
    """Show sliders for a few rules and what they would change in one trace."""
    traces = [] if isinstance(cleaned, NotYet) else choices_of(cleaned, show_codes=show_codes)
    if not traces:
        return
    import ipywidgets as widgets
    from IPython.display import display

    values = cleaned.rules.set_index("parameter")["value"]
    sliders = {
        name: widgets.FloatSlider(value=float(values[name]), min=low, max=high, step=step, description=name,
                                  continuous_update=False, style={"description_width": "9em"})
        for name, (low, high, step) in SLIDERS.items()
    }  # fmt: skip
    choice = widgets.Dropdown(options=traces, description="trace", style={"description_width": "9em"})

    def redraw(key, **changes):
        show(try_rules(cleaned, *key, **changes), draw_tried, plain_tried)

    picture = widgets.interactive_output(redraw, {"key": choice, **sliders})
    display(widgets.VBox([choice, *sliders.values(), picture]))


def choices_of(cleaned, *, show_codes: bool = False) -> list[tuple[str, tuple[str, str]]]:
    """List the traces that may be shown alone, as (words, key), most flagged samples first."""
    keys = [k for k in cleaned.traces if k[1] in cleaned.may_show]
    keys.sort(key=lambda k: -int((cleaned.traces[k]["flag"] != "").sum()))
    return [
        (f"session {s}, {a}" if show_codes else f"trace {i}", (s, a))
        for i, (s, a) in enumerate(keys, start=1)
    ]


def draw_most_flagged(cleaned, *, show_codes: bool = False):
    """Draw the trace with most flagged samples among those that may be shown alone; None where there is none."""
    from ...figures.cleaning import draw_trace

    traces = choices_of(cleaned)
    return draw_trace(cleaned, *traces[0][1], show_codes=show_codes) if traces else None
