"""Markup, scripts and addresses in every text that a club types: no page runs or fetches anything."""

import pickle
import re
import shutil
from pathlib import Path

import pytest
from careless_study import SHOT

from analysis.report.athlete_pages import write_athlete_pages
from analysis.report.html_page import sanitised
from analysis.report.notebook_pages import NOTEBOOKS, find_notebooks, notebook_format, run_notebooks

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def written(browser, careless_answers, tmp_path_factory):
    """The pages of a study with the shot in every text field: its output, athletes' pages, and its notebooks as one."""
    answers, folder = careless_answers, tmp_path_factory.mktemp("pages")
    shutil.copytree(Path(answers.study.folder) / "output", folder / "output")
    write_athlete_pages(answers, folder / "individual_pages")
    (folder / "answers").write_bytes(pickle.dumps(answers))
    (run,) = run_notebooks(answers.study.folder, [notebooks_in_one(folder)], kept=folder / "answers")
    (folder / "notebooks.html").write_text(run.page, encoding="utf-8")
    return folder


NO_PIXELS = """
from analysis.telling import style
style.figure_bytes = lambda figure, kind: kind.encode()
"""
"""Pictures of a notebook are drawn and described, and not turned into pixels, in which nothing can run."""


def notebooks_in_one(folder):
    """The notebooks that show what this club typed, one below the other, so that one kernel runs them."""
    nbformat = notebook_format()
    cells = [nbformat.v4.new_code_cell(NO_PIXELS)]
    for path in find_notebooks():
        if path.name[:2] not in ("08", "09"):  # without a survey or a training study they show those of the demo
            cells += nbformat.read(path, as_version=4).cells
    for number, cell in enumerate(cells):
        cell.id = f"c{number}"
        cell.source = re.sub(r"n_studies=\d+", "n_studies=20", cell.source)
    path = folder / "all.ipynb"
    nbformat.write(nbformat.v4.new_notebook(cells=cells), path)
    return path


def test_nothing_runs_and_nothing_is_fetched(written, open_page):
    pages = sorted(written.rglob("*.html"))
    assert {p.stem for p in pages} >= {"report", "contact_sheet", "answers", "notebooks"}
    assert any(p.parent.name == "individual_pages" for p in pages)
    for path in pages:
        page = open_page()
        page.goto(path.as_uri())
        page.wait_for_timeout(50)
        assert page.evaluate("window.ran === undefined"), f"something ran in {path.name}"
        assert page.query_selector("script") is None, path.name
        assert page.evaluate(
            "[...document.querySelectorAll('*')].flatMap(e => [...e.attributes]).filter("
            "a => a.name.startsWith('on') || /^\\s*javascript:/i.test(a.value)).length"
        ) == 0, path.name  # fmt: skip
        outside = page.evaluate("[...document.images].filter(i => /^http/.test(i.src)).length")
        assert outside == 0, path.name
        assert "Content-Security-Policy" in path.read_text(encoding="utf-8"), path.name
        assert all(f.url.startswith(("file:", "about:")) for f in page.frames)
        page.context.close()


def test_the_shot_is_there_as_text(written):
    """The test would prove nothing if the texts had not arrived."""
    for name in ("output/to_share/report.html", "notebooks.html"):
        assert "window.ran" in (written / name).read_text(encoding="utf-8"), name


def test_a_page_whose_content_slipped_through_is_still_not_allowed_to_run_it(open_page, tmp_path):
    from analysis.report.html_page import page as whole

    (tmp_path / "page.html").write_text(whole("A page", f"<h1>A page</h1>{SHOT}"), encoding="utf-8")
    page = open_page()
    page.goto((tmp_path / "page.html").as_uri())
    page.wait_for_timeout(50)
    assert page.query_selector("script") is not None
    assert page.evaluate("window.ran === undefined")


@pytest.mark.parametrize(
    "bad",
    [
        "<a href='javascript:x'>a</a>", "<a href=' javascript:x'>a</a>", "<a href='data:text/html,x'>a</a>",
        "<img src='http://outside.example/a.png'>", "<img src='data:image/svg+xml,<svg onload=x>'>",
        "<p onclick='x'>a</p>", "<style>p{background:url(http://outside.example)}</style>",
        "<p style='background:url(http://outside.example)'>a</p>", "<object data='x'></object>", "<base href='http://x'>",
        "<meta http-equiv=refresh content='0;url=http://x'>", "<form action='http://x'><input></form>",
    ],
)  # fmt: skip
def test_what_is_sanitised(bad):
    made = sanitised(bad)
    for word in (
        "javascript:x'",
        "<img src='http",
        "onclick='x'>a</p>",
        "<style",
        "url(",
        "<object",
        "<base",
        "<meta",
        "<form",
    ):
        assert f"{word}" not in made or "&lt;" in made
    assert "href=" not in made or "&lt;" in made
    assert "<img src" not in made


def test_what_notebooks_need_stays():
    kept = (
        '<h2 id="a">A</h2><p class="mark"><a href="#a">to A</a> <a href="05_fitness_and_sparring.html">next</a></p>'
        '<img src="data:image/png;base64,AAAA" width="3" alt="A"><table><tbody><tr>'
        '<td style="text-align: right;">1</td></tr></tbody></table>'
    )
    assert NOTEBOOKS.is_dir() and sanitised(kept).replace(";", "") == kept.replace(";", "")
