"""`show` in a notebook, and every notebook of the kit run whole from a clean kernel on the demo."""

import pandas as pd
import pytest

from analysis.answers import Answers
from analysis.answers.walk import DEMO_FOLDER
from analysis.basics import NotYet
from analysis.figures.style import finish, new_axes
from analysis.report.notebook import picture_html, show, table_html
from analysis.report.notebook_runs import find_notebooks, run_notebooks


@pytest.fixture
def displayed(monkeypatch):
    shown = []
    monkeypatch.setattr("IPython.display.display", shown.append)
    return shown


def test_show_takes_every_kind_of_view(displayed):
    figure = finish(new_axes()[0], 'An "empty" picture <here>.')
    views = (
        lambda r: figure,
        lambda r: "One sentence.",
        lambda r: ["One.", "Two."],
        lambda r: r,
        lambda r: None,
    )
    show(pd.DataFrame({"n": [12]}), *views)
    assert [type(s).__name__ for s in displayed] == ["HTML", "Markdown", "Markdown", "HTML"]
    assert 'alt="An &quot;empty&quot; picture &lt;here&gt;."' in displayed[0].data
    assert displayed[2].data == "One.\n\nTwo."


def test_show_says_what_is_missing_and_goes_on(displayed):
    show(NotYet("the comparison", "a row in published.csv"), lambda r: 1 / 0)
    assert "Not yet: the comparison needs a row in published.csv." in displayed[0].data


def test_tables_and_pictures():
    table = pd.DataFrame(
        {"a": ["x<y", None], "b": [-1.23456, float("nan")], "c": pd.array([1, None], dtype="Int64")}
    )
    made = table_html(table)
    assert "x&lt;y" in made and "−1.235" in made and "nan" not in made.lower() and "NA" not in made
    assert "no rows" in table_html(pd.DataFrame({"a": []}))
    assert picture_html(new_axes()[0]).startswith('<img src="data:image/png;base64,')


def test_every_notebook_runs_whole_without_a_warning(check_page):
    answers = Answers.from_folder(DEMO_FOLDER)
    for outcome in answers.measured_outcomes:
        answers.rounds(outcome), answers.fitness(outcome)
    runs = run_notebooks(DEMO_FOLDER, answers=answers, strict=True)
    assert [r.name for r in runs] == [p.stem for p in find_notebooks()]
    for run in runs:
        check_page(run.page, closed=False)
