"""The look of every figure: sizes, colours, markers, and alt text. Figures import from here and from results only."""

from __future__ import annotations

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
