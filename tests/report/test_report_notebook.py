"""`show` in a notebook. Whole runs on the demo are in test_report_build.py and, in a real lab, in tests/browser."""

import pandas as pd
import pytest

from analysis.basics import NotYet
from analysis.capacity.results import Refused
from analysis.notebook.showing import picture_html, show, table_html
from analysis.telling.style import finish, new_axes


@pytest.fixture
def displayed(monkeypatch):
    shown = []
    monkeypatch.setattr("IPython.display.display", shown.append)
    return shown


def test_show_takes_every_kind_of_view(displayed):
    figure = finish(new_axes()[0], 'An "empty" picture <here>.')
    views = (lambda r: figure, lambda r: "One sentence.", lambda r: ["One.", "Two."], lambda r: r, lambda r: None)
    show(pd.DataFrame({"n": [12]}), *views)
    assert [type(s).__name__ for s in displayed] == ["HTML", "Markdown", "Markdown", "HTML"]
    assert 'alt="An &quot;empty&quot; picture &lt;here&gt;."' in displayed[0].data
    assert displayed[2].data == "One.\n\nTwo."


def test_show_says_what_is_missing_and_goes_on(displayed):
    show(NotYet("the comparison", "a row in published.csv"), lambda r: 1 / 0)
    assert "Not yet: the comparison needs a row in published.csv." in displayed[0].data


def test_a_reason_is_given_once_and_again_where_its_cell_is_run_again(displayed, monkeypatch):
    refused = Refused("whether it rains", "wait", why="The sky is hidden behind a roof.")
    for cell in ("show(a)", "show(a, b)", "show(a)"):
        monkeypatch.setattr("analysis.notebook.showing._this_cell", lambda cell=cell: cell)
        show(refused)
    first, second, again = (d.data for d in displayed)
    assert "roof" in first and again == first
    assert "roof" not in second and "for the reason given above: whether it rains." in second


def test_tables_and_pictures():
    table = pd.DataFrame({"a": ["x<y", None], "b": [-1.23456, float("nan")], "c": pd.array([1, None], dtype="Int64")})
    made = table_html(table)
    assert "x&lt;y" in made and "−1.235" in made and "nan" not in made.lower() and "NA" not in made
    assert "no rows" in table_html(pd.DataFrame({"a": []}))
    assert picture_html(new_axes()[0]).startswith('<img src="data:image/png;base64,')
