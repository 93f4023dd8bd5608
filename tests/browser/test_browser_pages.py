"""The pages of a report in a real browser: accessibility, keyboard, phone, print, and nothing asked of the network."""

import re

import pytest

from analysis.answers.walk import DEMO_FOLDER
from analysis.report import build_report
from analysis.report.notebook_runs import NOTEBOOKS, run_notebooks

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def output(browser, tmp_path_factory):
    out = tmp_path_factory.mktemp("pages") / "output"
    build_report(DEMO_FOLDER, out, notebooks=False, individuals=True, progress=lambda line: None)
    for run in run_notebooks(DEMO_FOLDER, [NOTEBOOKS / "07_write_it_up.ipynb"]):
        (out / "notebook.html").write_text(run.page, encoding="utf-8")
    return out


def _pages(output):
    first = sorted((output / "individual_pages").iterdir())[0].relative_to(output)
    return ["report.html", "contact_sheet.html", "notebook.html", first.as_posix()]


@pytest.mark.parametrize("number", range(4))
@pytest.mark.parametrize("width", [1280, 390])
def test_accessible_and_narrow_enough(output, open_page, number, width):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
    page = open_page(width)
    page.goto((output / _pages(output)[number]).as_uri())
    found = axe.Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth + 1"), (
        "the page scrolls sideways"
    )


def test_keyboard_reaches_text_contents_and_tables(output, open_page):
    page = open_page()
    page.goto((output / "report.html").as_uri())
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    page.goto((output / "report.html").as_uri())
    seen = set()
    for _ in range(80):
        page.keyboard.press("Tab")
        seen.add(page.evaluate("document.activeElement.tagName + ' ' + document.activeElement.className"))
    assert {"A skip", "A ", "DIV scroll"} <= seen


def test_links_lead_to_something_that_can_be_seen(output, open_page):
    page = open_page()
    page.goto((output / "report.html").as_uri())
    for link in page.query_selector_all("a[href^='#']"):
        target = page.query_selector(f"[id='{link.get_attribute('href')[1:]}']")
        assert target is not None and target.bounding_box() is not None


def test_prints_without_the_contents_beside(output, open_page):
    page = open_page()
    page.goto((output / "report.html").as_uri())
    page.emulate_media(media="print")
    assert not page.is_visible("nav")
    printed = page.pdf(format="A4")
    assert len(re.findall(rb"/Type\s*/Page[^s]", printed)) > 3


def test_light_enough_for_a_phone(output):
    assert (output / "report.html").stat().st_size < 2_500_000
