"""The pages of a report in a real browser: accessibility, keyboard, phone, print, and nothing asked of the network."""

import re

import pytest

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def pages(browser, demo_report, demo_athlete_pages):
    """What is passed on, by a short name."""
    built = demo_report[0]
    return {
        "report": built / "to_share" / "report.html",
        "figures": built / "to_share" / "contact_sheet.html",
        "notebook": built / "for_you" / "notebooks" / "07_write_it_up.html",
        "athlete": demo_athlete_pages[0],
    }


@pytest.mark.parametrize("name", ["report", "figures", "notebook", "athlete"])
@pytest.mark.parametrize("width", [1280, 390])
def test_accessible_and_narrow_enough(pages, open_page, name, width):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
    page = open_page(width)
    page.goto(pages[name].as_uri())
    found = axe.Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth + 1"), "the page scrolls sideways"


def test_keyboard_reaches_text_contents_and_tables(pages, open_page):
    page = open_page()
    page.goto(pages["report"].as_uri())
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    page.goto(pages["report"].as_uri())
    seen = set()
    for _ in range(80):
        page.keyboard.press("Tab")
        seen.add(page.evaluate("document.activeElement.tagName + ' ' + document.activeElement.className"))
    assert {"A skip", "A ", "DIV scroll"} <= seen


def test_links_lead_to_something_that_can_be_seen(pages, open_page):
    page = open_page()
    page.goto(pages["report"].as_uri())
    for link in page.query_selector_all("a[href^='#']"):
        target = page.query_selector(f"[id='{link.get_attribute('href')[1:]}']")
        assert target is not None and target.bounding_box() is not None


def test_prints_without_the_contents_beside(pages, open_page):
    page = open_page()
    page.goto(pages["report"].as_uri())
    page.emulate_media(media="print")
    assert not page.is_visible("nav")
    printed = page.pdf(format="A4")
    assert len(re.findall(rb"/Type\s*/Page[^s]", printed)) > 3


def test_light_enough_for_a_phone(pages):
    assert pages["report"].stat().st_size < 2_500_000
