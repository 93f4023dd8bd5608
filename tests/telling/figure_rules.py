"""What every figure of the kit must keep: sizes, labels with units, readable text that does not overlap, colours, alt text."""

import colorsys
import itertools
import re

import matplotlib.colors as colors
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

UNITS = (
    (r"heart rate(?!s? \()", r"bpm|%|SD|rank|multiple|smallest effect"),
    (r"lactate", r"mmol|%|SD|multiple|smallest effect"),
    (r"aerobic capacity|vo2max", r"mL/kg/min|L/min|SD"),
)
"""A label that names a quantity also names its unit."""


def faults_of(figure, *, codes=()):
    """Return what is wrong with a figure."""
    canvas = FigureCanvasAgg(figure)
    figure.draw_without_rendering()  # everything in its place; no pixels are looked at
    found = _alt_text(figure, codes) + _size(figure) + _labels(figure) + _texts(figure, canvas.get_renderer(), codes)
    return found + _marks(figure) + _colours(figure)


def _alt_text(figure, codes):
    alt = getattr(figure, "alt_text", "")
    found = [] if len(alt) > 25 else [f"alt text too short: {alt!r}"]
    found += [f"alt text: {m}" for m in re.findall(r"\bnan\b|\bNone\b|[−-]0\.0\b|[{}]", alt)]
    return found + [f"alt text names {c}" for c in codes if re.search(rf"\b{re.escape(c)}\b", alt)]


def _size(figure):
    width, height = figure.get_size_inches() * 25.4
    found = [] if min(abs(width - w) for w in (85, 170)) < 0.5 else [f"width {width:.0f} mm"]
    return found + ([f"height {height:.0f} mm"] if height > 235 else [])


def _shown_axes(figure):
    return [a for a in figure.axes if a.get_visible() and a.axison]


def _labels(figure):
    axes = _shown_axes(figure)
    below = [figure.get_supxlabel(), *(a.get_xlabel() for a in axes)]
    beside = [figure.get_supylabel(), *(a.get_ylabel() for a in axes)]
    found = [] if any(below) else ["no label below"]
    named_ticks = any(re.search(r"[A-Za-z]{2}", t.get_text()) for a in axes for t in a.get_yticklabels())
    found += [] if any(beside) or named_ticks else ["no label beside"]
    for label in filter(None, below + beside):
        for quantity, unit in UNITS:
            if re.search(quantity, label, re.I) and not re.search(unit, label):
                found.append(f"label without unit: {label!r}")
        found += [f"label not in words: {label!r}"] if re.search(r"_|nan", label) else []
        found += [f"label begins small: {label!r}"] if label[0].islower() and not label.startswith("p ") else []
    return found


def _visible_texts(figure, renderer):
    for text in figure.findobj(Text):
        if not (text.get_visible() and text.get_text().strip()) or text.get_alpha() == 0:
            continue
        owner = text.axes
        if owner is not None and not owner.get_visible():
            continue
        box = text.get_window_extent(renderer)
        if box.width > 0 and box.height > 0:
            yield text, box


def _ticks_out_of_sight(figure):
    """Texts of ticks that lie outside the limits of their axis are not drawn."""
    hidden = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            slack = 1e-9 * max(abs(low), abs(high), 1)
            for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks()):
                if not low - slack <= tick.get_loc() <= high + slack or not axes.axison:
                    hidden |= {id(tick.label1), id(tick.label2)}
    return hidden


def _texts(figure, renderer, codes):
    hidden = _ticks_out_of_sight(figure)
    shown = [(t, b) for t, b in _visible_texts(figure, renderer) if id(t) not in hidden]
    found = []
    frame = figure.bbox
    for text, box in shown:
        words = text.get_text()
        if box.x0 < frame.x0 - 1 or box.y0 < frame.y0 - 1 or box.x1 > frame.x1 + 1 or box.y1 > frame.y1 + 1:
            found.append(f"outside the figure: {words!r}")
        if text.get_fontsize() < 7:
            found.append(f"too small: {words!r} ({text.get_fontsize()} pt)")
        if re.search(r"\bnan\b|None|[{}]|[a-z]_[a-z]", words) and not words.startswith("$"):
            found.append(f"not in words: {words!r}")
        if words in codes:
            found.append(f"names {words}")
    for (one, a), (two, b) in itertools.combinations(shown, 2):
        width = min(a.x1, b.x1) - max(a.x0, b.x0)
        height = min(a.y1, b.y1) - max(a.y0, b.y0)
        if width > 1 and height > 1 and width * height > 0.06 * min(a.width * a.height, b.width * b.height):
            found.append(f"overlap: {one.get_text()!r} and {two.get_text()!r}")
    return found


def _marks(figure):
    axes = _shown_axes(figure)
    count = sum(len(a.lines) + len(a.collections) + len(a.patches) + len(a.images) for a in axes)
    found = [] if count else ["nothing drawn"]
    for a in axes:
        (x0, x1), (y0, y1) = sorted(a.get_xlim()), sorted(a.get_ylim())
        for line in a.lines:
            if line.get_transform() != a.transData or line.get_marker() in ("None", None, "", " "):
                continue
            x, y = (np.asarray(v, dtype=float) for v in line.get_data(orig=False))
            inside = (x >= x0 - 1e-9) & (x <= x1 + 1e-9) & (y >= y0 - 1e-9) & (y <= y1 + 1e-9)
            if not np.all(inside | ~(np.isfinite(x) & np.isfinite(y))):
                found.append("marks outside the axes")
    return found


def _colours(figure):
    """No signal red, pure blue or green: colours of the kit are muted."""
    used = set()
    for artist in figure.findobj(lambda a: hasattr(a, "get_facecolor") or hasattr(a, "get_color")):
        for name in ("get_facecolor", "get_edgecolor", "get_color"):
            if hasattr(artist, name) and artist.get_visible():
                try:
                    used |= {tuple(c[:3]) for c in colors.to_rgba_array(getattr(artist, name)()) if c[3] > 0}
                except (ValueError, TypeError):
                    continue
    loud = [c for c in used if (hsv := colorsys.rgb_to_hsv(*c))[1] > 0.85 and hsv[2] > 0.8 and not 0.1 < hsv[0] < 0.2]
    return [f"loud colour {colors.to_hex(c)}" for c in loud]
