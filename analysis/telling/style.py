"""The look of every figure, its alt text, and its saving: SVG, PDF and PNG with the same bytes from the same figure."""

from __future__ import annotations

import html
import io
import re
from collections.abc import Mapping
from contextlib import contextmanager
from pathlib import Path

import numpy as np

WIDTH_MM = {"single": 85.0, "double": 170.0}
"""Widths of a journal column and of a page."""

INK = "#1b1b1b"
QUIET = "#8a8a8a"
FAINT = "#d9d9d9"
MAIN = "#22524c"
SECOND = "#b0631b"
"""Main and second colour: told apart by colour-blind readers and in grey; never alone, always with a marker or line style."""

MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<", ">")
LINES = ("-", "--", "-.", ":")


def new_axes(ax=None, *, width: str = "single", height_mm: float = 70.0, rows: int = 1, columns: int = 1, **kw):
    """Return (figure, axes) in the kit's style, or the given axes and their figure."""
    # Sets matplotlib's defaults to STYLE, so that legends and texts that are added later follow it too.
    import matplotlib as mpl
    from matplotlib.figure import Figure

    mpl.rcParams.update(STYLE)
    if ax is not None:
        return ax.figure, ax
    figure = Figure(figsize=(WIDTH_MM[width] / 25.4, height_mm / 25.4), layout="constrained")
    return figure, figure.subplots(rows, columns, **kw)


def new_panels(ax=None, *, count: int = 1, columns: int = 0, height_mm: float, **kw):
    """Return (figure, list of axes): new ones, a single one in one column of a journal, or those that are given."""
    if ax is not None:
        panels = [ax] if hasattr(ax, "plot") else list(ax)
        return new_axes(panels[0])[0], panels
    columns = columns or count
    kw = {"width": "single" if count == 1 else "double", "squeeze": False} | kw
    figure, grid = new_axes(height_mm=height_mm, rows=-(-count // columns), columns=columns, **kw)
    for spare in grid.ravel()[count:]:
        spare.set_axis_off()
    return figure, list(grid.ravel()[:count])


def finish(figure, alt_text: str):
    """Attach the alt text (one or two sentences that say what the picture shows) and return the figure.

    Parameters
    ----------
    figure : matplotlib Figure
    alt_text : str

    Returns
    -------
    matplotlib Figure
        The same, with `alt_text` as attribute.

    Examples
    --------
    >>> finish(new_axes()[0], "An empty picture.").alt_text
    'An empty picture.'
    """
    figure.alt_text = alt_text
    return figure


STYLE = {
    "font.family": "DejaVu Sans",
    "font.size": 7.5,
    "axes.labelsize": 7.5,
    "axes.titlesize": 8,
    "axes.titlelocation": "left",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 7,
    "ytick.labelsize": 7,
    "legend.fontsize": 7,
    "legend.frameon": False,
    "lines.linewidth": 1.2,
    "lines.markersize": 4,
    "pdf.fonttype": 42,
    "ps.fonttype": 42,
    "svg.fonttype": "path",
    "svg.hashsalt": "club sparring study kit",
    "figure.dpi": 120,
    "savefig.dpi": 300,
}


def draw_band(axes, effect: float, *, upright: bool = True) -> None:
    """Shade what is too small to matter, with its edges and the zero line."""
    span, line = (axes.axvspan, axes.axvline) if upright else (axes.axhspan, axes.axhline)
    span(-effect, effect, color=FAINT, alpha=0.6, linewidth=0, zorder=0, label="too small to matter")
    for edge in (-effect, effect):
        line(edge, color=QUIET, linewidth=0.7, linestyle="--", zorder=0.5)
    line(0, color=QUIET, linewidth=0.8, zorder=0.5)


def draw_estimate(axes, y: float, value: float, low: float, high: float, *, main: bool) -> None:
    """Draw one of several estimates with its interval; the main one stands out."""
    axes.hlines(y, low, high, color=MAIN if main else QUIET, linewidth=2 if main else 1.2)
    axes.plot(value, y, "D" if main else "o", color=MAIN if main else INK, markersize=5 if main else 4)


def legend_above(figure, axes, ax, *, ncols: int = 0, wrap=str, **kw) -> None:
    """One legend above the picture for one axes or several, each name once, unless the axes are somebody else's."""
    if ax is not None:
        return
    panels = axes if isinstance(axes, list) else [axes]
    named = {n: h for p in panels for h, n in zip(*p.get_legend_handles_labels(), strict=True)}
    if named:
        columns = ncols or (len(named) if len(named) <= 4 else 3)
        figure.legend(named.values(), map(wrap, named), loc="outside upper left", ncols=columns, **kw)


def name_rows(axes, names, **kw) -> None:
    """Name the rows of a picture, the first of them at the top."""
    names = list(names)
    axes.set_yticks(range(len(names)), names, **kw)
    axes.set_ylim(len(names) - 0.4, -0.6)


def say_empty(axes, words: str) -> None:
    """Say in the middle of an empty picture why it is empty."""
    axes.annotate(words, (0.5, 0.5), xycoords="axes fraction", ha="center", va="center", color=INK)


FORMATS = ("svg", "pdf", "png300", "png600")
"""What `save_figure` writes by default: `name.svg`, `name.pdf`, `name_300dpi.png`, `name_600dpi.png`."""


def save_figure(figure, folder: str | Path, name: str, *, formats=FORMATS) -> dict[str, Path]:
    """Save a figure under one name in several formats, without dates, so that the bytes repeat.

    Parameters
    ----------
    figure : matplotlib Figure
        From a ``draw_...`` function.
    folder : path
        Where to save; made where missing.
    name : str
        File name without ending.
    formats : sequence of str
        Among "svg", "pdf", "png300", "png600" (the number is dots per inch).

    Returns
    -------
    dict
        Format -> path.

    Notes
    -----
    Letters are stored as outlines in SVG and as embedded TrueType fonts in PDF, so that both look the same
    on a machine without the font.

    Examples
    --------
    >>> import tempfile
    >>> from analysis.telling.style import finish, new_axes
    >>> saved = save_figure(finish(new_axes()[0], "Empty."), tempfile.mkdtemp(), "empty", formats=["svg"])
    >>> saved["svg"].name
    'empty.svg'
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    paths = {kind: folder / file_name(name, kind) for kind in formats}
    for kind, path in paths.items():
        path.write_bytes(figure_bytes(figure, kind))
    return paths


def figure_bytes(figure, kind: str = "svg") -> bytes:
    """Return a figure as the bytes of one file."""
    # The first call settles the layout, so that every format of a figure shows the same one.
    import matplotlib as mpl

    mpl.rcParams.update(STYLE)
    if figure.get_layout_engine() is not None:
        figure.get_layout_engine().execute(figure)
        figure.set_layout_engine(None)
    if kind.startswith("png"):
        return png_bytes(figure, int(kind[3:]))
    target = io.BytesIO()
    with _glyphs_alone():
        figure.savefig(target, format=kind, metadata=_UNDATED[kind])
    return lighter(target.getvalue()) if kind == "svg" else target.getvalue()


HEAVY_BYTES = 120_000
"""A drawing of more than this (thousands of samples) is shown as pixels, so that a phone opens the page."""

PAGE_PIXELS = "png200"
"""Such a figure on a page: twice what a screen shows at full width."""


def lighter(svg: bytes) -> bytes:
    """Return a drawing without notes and line breaks, its places in hundredths of a point: a fifth smaller, the same to see."""
    svg = re.sub(rb"<metadata>.*?</metadata>|<!--.*?-->", b"", svg, flags=re.DOTALL)
    svg = re.sub(rb'(?<=[ "])(-?\d+\.\d\d)\d+(?=[ "\n])', rb"\1", svg)
    svg = re.sub(rb"\s*\n(?=[LMCQz])", b"", svg)
    return re.sub(rb"\s*\n\s*(?=<)|(?<!\")\s*\n(?=\")", b"", svg)


@contextmanager
def _glyphs_alone():
    """Leave tables for setting text (ligatures, kerning) out of the fonts in a PDF, where every glyph has its place already."""
    from fontTools import subset

    class GlyphsAlone(subset.Options):
        def __init__(self, **choices):
            super().__init__(**choices)
            self.drop_tables += ["GSUB", "GPOS", "GDEF"]

    usual, subset.Options = subset.Options, GlyphsAlone
    try:
        yield
    finally:
        subset.Options = usual


_UNDATED = {"svg": {"Date": None, "Creator": None}, "pdf": {"CreationDate": None, "Creator": None, "Producer": None}}


def contact_sheet(figures: Mapping[str, tuple[str, str]]) -> str:
    """Return a page that shows every figure small, with its caption, alt text and files."""
    cards = []
    for name, (caption, alt) in figures.items():
        links = " · ".join(f'<a href="figures/{file_name(name, kind)}">{_KIND_WORDS[kind]}</a>' for kind in FORMATS)
        cards.append(
            f'<li><figure><img src="figures/{name}.svg" alt="{html.escape(alt, quote=True)}" loading="lazy">'
            f"<figcaption><b>{html.escape(name)}</b><br>{html.escape(caption)}<br>{links}</figcaption>"
            "</figure></li>"
        )
    sheet = _SHEET.replace("POLICY", content_policy("'self' file:"))
    return sheet.replace("COUNT", str(len(cards))).replace("CARDS", "\n".join(cards))


def content_policy(pictures: str = "data:") -> str:
    """Return the tag by which a page forbids a browser to run anything or to fetch anything from elsewhere."""
    rules = f"default-src 'none'; img-src {pictures}; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
    return f'<meta http-equiv="Content-Security-Policy" content="{rules}">'


_KIND_WORDS = {"svg": "SVG", "pdf": "PDF", "png300": "PNG 300 dpi", "png600": "PNG 600 dpi"}

_SHEET = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8">POLICY<title>All figures</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>
body { font: 15px/1.45 system-ui, sans-serif; color: #1b1b1b; margin: 2rem auto; max-width: 76rem; padding: 0 1rem; }
ul { list-style: none; padding: 0; display: grid; gap: 1.5rem; grid-template-columns: repeat(auto-fill, minmax(17rem, 1fr)); }
figure { margin: 0; border: 1px solid #cfc8bb; padding: .8rem; height: 100%; box-sizing: border-box; }
img { width: 100%; height: 14rem; object-fit: contain; background: #fff; }
figcaption { font-size: .85rem; margin-top: .6rem; }
a { color: #22524c; }
</style></head>
<body><main><h1>All figures</h1>
<p>COUNT figures, each as SVG, PDF and PNG.</p>
<ul>
CARDS
</ul></main></body></html>
"""


def file_name(name: str, kind: str) -> str:
    """Return the name of the file of one format: "rounds.svg", "rounds_300dpi.png"."""
    return f"{name}_{kind[3:]}dpi.png" if kind.startswith("png") else f"{name}.{kind}"


_LEVEL, _LEVEL_OF_PAGES = 3, 9
"""Of compression: more takes twice the time for files a quarter smaller, which pays only for what a phone loads."""


def png_bytes(figure, dpi: int) -> bytes:
    """Draw a figure and return it as a PNG without transparency or date."""
    from PIL import Image

    made = io.BytesIO()
    level = _LEVEL if dpi > int(PAGE_PIXELS[3:]) else _LEVEL_OF_PAGES
    picture = Image.fromarray(_drawn(figure, dpi)).convert("RGB")
    picture.save(made, "PNG", dpi=(dpi, dpi), compress_level=level)
    return made.getvalue()


def _drawn(figure, dpi: int) -> np.ndarray:
    """Return the pixels, rows x columns x (red, green, blue, opacity), and leave the figure as it was."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    canvas, before = figure.canvas, figure.dpi
    try:
        figure.dpi = dpi
        own = FigureCanvasAgg(figure)
        own.draw()
        return np.asarray(own.buffer_rgba())
    finally:
        figure.dpi = before
        figure.set_canvas(canvas)
