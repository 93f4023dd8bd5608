"""Saving figures: SVG, PDF and PNG with the same bytes from the same figure, and a contact sheet."""

from __future__ import annotations

import html
import io
import re
from collections.abc import Mapping
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from .style import STYLE

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
    return {kind: _write(folder / file_name(name, kind), figure_bytes(figure, kind)) for kind in formats}


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


_UNDATED = {
    "svg": {"Date": None, "Creator": None},
    "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
}


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


def _write(path: Path, content: bytes) -> Path:
    path.write_bytes(content)
    return path


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
