"""Showing results in a notebook: one call that draws, says and tabulates, and copes with "not yet"."""

from __future__ import annotations


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
    from IPython.display import HTML, Image, Markdown, display

    if thing is None:
        return
    if isinstance(thing, list | tuple):
        thing = "\n\n".join(str(t) for t in thing)
    if isinstance(thing, str):
        display(Markdown(thing))
    elif hasattr(thing, "savefig"):
        import io

        picture = io.BytesIO()
        thing.savefig(picture, format="png", dpi=150)
        alt = getattr(thing, "alt_text", "")
        display(Image(picture.getvalue(), format="png", alt=alt, retina=True))
    elif type(thing).__name__ == "DataFrame":
        display(HTML(thing.to_html(index=False, na_rep="", float_format=lambda x: f"{x:.4g}")))
    else:
        display(thing)
