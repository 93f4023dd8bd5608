"""Markup, scripts and addresses in every text that a club types: no page runs or fetches anything."""

import json
import shutil
import subprocess
import sys

import pandas as pd
import pytest

from analysis.answers.walk import DEMO_FOLDER
from analysis.report.html_page import sanitised
from analysis.report.notebook_pages import NOTEBOOKS, find_notebooks

pytestmark = pytest.mark.browser

SHOT = (
    "<img src=x onerror=window.ran=1><script>window.ran=1</script><svg onload=window.ran=1>"
    "[press](javascript:window.ran=1) ![see](http://outside.example/p.png) <iframe src=javascript:parent.ran=1></iframe>"
)
FIELDS = {
    "sessions": ("place", "analyser", "strip_lot", "note"),
    "athletes": ("club", "group"),
    "clock": ("note",),
    "attendance": ("device", "note"),
    "rounds": ("note",),
    "recordings": ("device",),
    "published": ("finding", "source"),
    "decisions": ("reason", "decided_by"),
}


@pytest.fixture(scope="module")
def written(browser, tmp_path_factory):
    """The output of a study with the shot in every text field, notebooks included."""
    folder = tmp_path_factory.mktemp("markup") / "study"
    ignored = shutil.ignore_patterns("output", "how_it_was_made", "notebooks", "survey", "plan_*")
    shutil.copytree(DEMO_FOLDER, folder, ignore=ignored)
    for table, columns in FIELDS.items():
        path = folder / f"{table}.csv"
        separator = ";" if ";" in path.read_text(encoding="utf-8-sig").splitlines()[0] else ","
        rows = pd.read_csv(path, sep=separator, dtype=str, keep_default_na=False, encoding="utf-8-sig")
        for column in set(columns) & set(rows):
            if table == "clock" or column == "group":
                rows[column] = [f"{v} {SHOT}" if column == "group" else SHOT for v in rows[column]]
            else:
                rows[column] = [f"{v} {SHOT}" for v in rows[column]]
        rows.to_csv(path, index=False, sep=separator)
    settings = folder / "study.toml"
    text = settings.read_text(encoding="utf-8")
    said = json.dumps(f"An evening {SHOT}")
    lines = []
    for line in text.splitlines():
        key = line.partition("=")[0].strip()
        lines.append(f"{key} = {said}" if key in ("title", "sport", "text") else line)
    settings.write_text("\n".join(lines), encoding="utf-8")
    (folder / "texts").mkdir(exist_ok=True)
    page = f"# An evening {SHOT}\n\n{{trace}}\n\n{{numbers}}\n\n{{figure}}\n"
    (folder / "texts" / "athlete_page.md").write_text(page, encoding="utf-8")
    command = [sys.executable, "-m", "analysis", "report", str(folder), "--individuals"]
    subprocess.run(command, check=True, cwd=NOTEBOOKS.parent, capture_output=True, timeout=500)
    return folder / "output"


def test_nothing_runs_and_nothing_is_fetched(written, open_page):
    pages = sorted(written.rglob("*.html"))
    assert {p.stem for p in pages} >= {"report", "contact_sheet"} | {p.stem for p in find_notebooks()}
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
    for name in ("to_share/report.html", "for_you/notebooks/06_compare_with_published.html"):
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
