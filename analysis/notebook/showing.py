"""Showing results in a notebook: one call that draws, says and tabulates, and copes with "not yet"."""

from __future__ import annotations

import html
import inspect
import os
import re


def show(result, *views) -> None:
    """Show a result through each of the given functions, or say what the study still needs.

    Parameters
    ----------
    result : object
        What a question gave; a `NotYet` is said in words.
    *views : callable
        Each takes the result and gives a figure, a table, a sentence or a list of them. Default: the result itself. On
        the researcher's own machine those that can are asked to show codes; in pages one secret label stands for a person.

    Returns
    -------
    None
        What is shown stands under the cell.

    Examples
    --------
    >>> show("Rounds 3 and 4 were the same within 5 beats.")  # doctest: +SKIP
    """
    from IPython.display import HTML, display

    from ..basics import NotYet

    if isinstance(result, NotYet):
        display(HTML(f"<p><i>{html.escape(_once(result))}</i></p>"))
        return
    for view in views or (lambda r: r,):
        _display(view(result, **_own_eyes(view)))


def own_machine() -> bool:
    """Whether a notebook is open on somebody's own screen; False where it runs for a page that is passed on."""
    return not os.environ.get("STUDY_PAGES")


def _own_eyes(view) -> dict:
    """Ask a view for codes where it can show them and the notebook is open on the researcher's own machine."""
    try:
        known = inspect.signature(view).parameters
    except (TypeError, ValueError):
        return {}
    return {"show_codes": True} if own_machine() and "show_codes" in known else {}


_REASONS: dict[str, str] = {}
"""Reason why something is not analysed -> the cell that gave it first."""


def look(table, *views) -> None:
    """Show the first rows of a tidy table and what a reader makes of it; what does not work there is said, not raised.

    Parameters
    ----------
    table : DataFrame or NotYet
        One row per athlete and round, or any other table of the kit.
    *views : callable
        Each takes the table; a picture of seaborn or a table of pingouin is shown.

    Returns
    -------
    None
        What is shown stands under the cell, and that it is exploratory.

    Examples
    --------
    >>> look(answers.rows, lambda frame: sns.histplot(frame, x="hr_mean_bpm"))  # doctest: +SKIP
    """
    import warnings

    from IPython.display import HTML, display

    from ..basics import NotYet

    if isinstance(table, NotYet) or table is None:
        show(table)
        return
    display(HTML(f"<p><small>{len(table)} rows, {len(table.columns)} columns; the first five. Looked at without a plan, so "
                 "whatever you find here is exploratory.</small></p>"))  # fmt: skip
    display(HTML(table_html(table.head().map(_short))))
    for view in views:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                made = view(table)
            except Exception as error:
                why = html.escape(str(error).strip() or type(error).__name__)
                display(HTML(f"<p><i>Not for this table: {why}</i></p>"))
                continue
        figure = getattr(made, "figure", made)
        if hasattr(figure, "savefig"):
            import matplotlib.pyplot as plt

            figure.alt_text = "A picture of your own."
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # where labels leave no room at all, they are cut
                figure.tight_layout()
            _display(figure)
            plt.close(figure)
        else:
            _display(made)


def _once(missing) -> str:
    """Say what is missing in the first cell that asks for it, and point there from the others."""
    text = str(missing)
    cell = _this_cell()
    if _REASONS.setdefault(text, cell) == cell:
        return text
    said = "Not analysed" if getattr(missing, "why", "") else "Not yet"
    return f"{said}, for the reason given above: {missing.question}."


def _this_cell() -> str:
    """The text of the cell that is running, so that running it again says the same; "" outside a notebook."""
    from IPython import get_ipython

    shell = get_ipython()
    return shell.user_ns.get("In", [""])[-1] if shell is not None else ""


def _display(thing) -> None:
    from IPython.display import HTML, Markdown, display

    from ..telling.document import Table

    if thing is None:
        return
    if isinstance(thing, Table):
        caption, note = html.escape(thing.caption), html.escape(thing.note)
        display(HTML(f"<p><b>{caption}</b></p>{table_html(thing.shown)}<p>{note}</p>"))
        return
    if isinstance(thing, list | tuple):
        thing = "\n\n".join(str(t) for t in thing)
    if isinstance(thing, str):
        display(Markdown(harmless(thing)))
    elif hasattr(thing, "savefig"):
        display(HTML(picture_html(thing)))
    elif type(thing).__name__ == "DataFrame":
        display(HTML(table_html(thing)))
    else:
        display(thing)


def harmless(text: str) -> str:
    """Return a text whose only Markdown is emphasis, lists and links to the kit's notebooks: a study's words stay words."""
    escaped = html.escape(text, quote=False).replace("[", "\\[")
    return re.sub(r"\\(\[[\w ]+\]\(\d\d_\w+\.ipynb\))", r"\1", escaped)


def picture_html(figure) -> str:
    """Return a figure as an image that carries its alt text, in a notebook and in an exported page."""
    import base64

    from ..telling.style import figure_bytes

    width = round(figure.get_size_inches()[0] * 96)
    alt = html.escape(getattr(figure, "alt_text", "") or "A figure without a description.", quote=True)
    content = base64.b64encode(figure_bytes(figure, "png200")).decode("ascii")
    return f'<img src="data:image/png;base64,{content}" width="{width}" alt="{alt}">'


def table_html(table) -> str:
    """Return a table for a notebook: numbers with four digits to the right, words to the left, blank where nothing is known."""
    from ..telling.document import number_columns

    if table.empty:
        return "<p><i>(no rows)</i></p>"
    shown = table.map(_cell)
    sides = [' style="text-align: right"' if n else ' style="text-align: left"' for n in number_columns(shown)]

    def line(cells, tag):
        made = zip(cells, sides, strict=True)
        return "<tr>" + "".join(f"<{tag}{side}>{html.escape(str(c))}</{tag}>" for c, side in made) + "</tr>"

    head = line(shown.columns, "th").replace("<th ", '<th scope="col" ')
    body = "".join(line(row, "td") for row in shown.itertuples(index=False))
    rows = f"<thead>{head}</thead><tbody>{body}</tbody>"
    return f'<div style="overflow-x: auto" tabindex="0"><table>{rows}</table></div>'


def _short(value):
    """The beginning of a long text, so that five rows of a wide table stay five lines."""
    return f"{value[:23].rstrip()}\N{HORIZONTAL ELLIPSIS}" if isinstance(value, str) and len(value) > 24 else value


def _cell(value) -> str:
    from pandas import isna
    from pandas.api.types import is_scalar

    if is_scalar(value) and isna(value):
        return ""
    if isinstance(value, float):
        return f"{value:.4g}".replace("-", "−")
    return str(value)
