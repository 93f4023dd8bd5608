"""Words and marks that figures of several topics share."""

from __future__ import annotations

from ..study.outcomes import Outcome
from .style import FAINT, QUIET


def digits_of(known: Outcome) -> int:
    """Decimals of a difference: at least one."""
    return max(known.digits, 1)


def in_unit(known: Outcome) -> str:
    """The unit in brackets, to end a label."""
    return f" ({known.unit})" if known.unit else ""


def lower_first(label: str) -> str:
    """The label inside a sentence."""
    return label[:1].lower() + label[1:]


def with_minus(contrast: str) -> str:
    """A contrast with a real minus sign."""
    return contrast.replace(" - ", " − ")


def wrap_words(words: str, width: int = 38) -> str:
    """Words over several lines."""
    import textwrap

    return "\n".join(textwrap.wrap(words, width))


def draw_band(axes, effect: float, *, upright: bool = True) -> None:
    """Shade what is too small to matter, with its edges and the zero line."""
    span, line = (axes.axvspan, axes.axvline) if upright else (axes.axhspan, axes.axhline)
    span(-effect, effect, color=FAINT, alpha=0.6, linewidth=0, zorder=0, label="too small to matter")
    for edge in (-effect, effect):
        line(edge, color=QUIET, linewidth=0.7, linestyle="--", zorder=0.5)
    line(0, color=QUIET, linewidth=0.8, zorder=0.5)


def legend_above(figure, axes, ax) -> None:
    """A legend above the picture, unless the axes are somebody else's."""
    if ax is None:
        handles, names = axes.get_legend_handles_labels()
        figure.legend(handles, names, loc="outside upper left", ncols=len(names) if len(names) <= 4 else 3)
