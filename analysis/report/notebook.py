"""Showing results in a notebook: one call that draws, says and tabulates, and copes with "not yet"."""

from __future__ import annotations

import html


def show(result, *views) -> None:
    """Show a result through each of the given functions, or say what the study still needs.

    Parameters
    ----------
    result : Result, DataFrame or NotYet
        What a room returned.
    *views : callable
        Each takes the result and returns a Figure, a table, a sentence or a list of paragraphs.
        Without any, the result shows itself.

    Returns
    -------
    None

    Examples
    --------
    >>> from analysis.basics import NotYet
    >>> show(NotYet("the comparison", "a row in published.csv"))  # doctest: +SKIP
    """
    from IPython.display import HTML, display

    from ..basics import NotYet

    if isinstance(result, NotYet):
        display(HTML(result._repr_html_()))
        return
    for view in views or (lambda r: r,):
        _display(view(result))


def _display(thing) -> None:
    from IPython.display import HTML, Markdown, display

    if thing is None:
        return
    if isinstance(thing, list | tuple):
        thing = "\n\n".join(str(t) for t in thing)
    if isinstance(thing, str):
        display(Markdown(thing))
    elif hasattr(thing, "savefig"):
        display(HTML(picture_html(thing)))
    elif type(thing).__name__ == "DataFrame":
        display(HTML(table_html(thing)))
    else:
        display(thing)


def picture_html(figure) -> str:
    """Return a figure as an image that carries its alt text, in a notebook and in an exported page.

    Parameters
    ----------
    figure : matplotlib Figure

    Returns
    -------
    str

    Examples
    --------
    >>> from analysis.figures.style import finish, new_axes
    >>> 'alt="Nothing yet."' in picture_html(finish(new_axes()[0], "Nothing yet."))
    True
    """
    import base64

    from ..figures.export import figure_bytes

    width = round(figure.get_size_inches()[0] * 96)
    alt = html.escape(getattr(figure, "alt_text", "") or "A figure without a description.", quote=True)
    content = base64.b64encode(figure_bytes(figure, "png200")).decode("ascii")
    return f'<img src="data:image/png;base64,{content}" width="{width}" alt="{alt}">'


def table_html(table) -> str:
    """Return a table for a notebook: four digits, nothing where nothing is known, a frame that scrolls.

    Parameters
    ----------
    table : DataFrame

    Returns
    -------
    str

    Examples
    --------
    >>> import pandas as pd
    >>> "0.3333" in table_html(pd.DataFrame({"share": [1 / 3]}))
    True
    """
    body = table.to_html(index=False, border=0, na_rep="", float_format=lambda x: f"{x:.4g}".replace("-", "−"))
    return f'<div style="overflow-x: auto" tabindex="0">{body}</div>'
