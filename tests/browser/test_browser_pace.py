"""The page for raters in a real browser: taps, keys, taking back, a reload, a phone's width, an hour, and its file read back."""

import csv
import io
import re

import pandas as pd
import pytest

from analysis.pace.marks import PaceWords, pace_page, second_by_second
from analysis.study.times import clock_seconds

pytestmark = pytest.mark.browser
NASTY = ["P1", "P2", "P3", '</script><img src=x onerror="document.title=1">']


@pytest.fixture
def page_file(tmp_path):
    path = tmp_path / "pace.html"
    path.write_text(pace_page(athletes=NASTY, work_s={1: 240.0, 2: 240.0}, sessions=("1", "2")), encoding="utf-8")
    return path


def opened(open_page, page_file, width=1280):
    page = open_page(width=width)
    page.goto(page_file.as_uri())
    page.clock.install()
    page.reload()
    page.fill("#rater", "R1")
    page.select_option("#who0", "P1")
    page.select_option("#who1", "P2")
    return page


def saved(page):
    page.click("#text")
    text = page.input_value("#out")
    page.click("#text")
    return text


def rows_of(text):
    return list(csv.DictReader(io.StringIO(text)))


@pytest.mark.parametrize("width", [1280, 390])
def test_a_round_tapped_and_keyed_is_read_back_to_the_second(open_page, page_file, width):
    page = opened(open_page, page_file, width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.click("#big")
    for wait, act in (
        (2000, lambda: page.click('#pair .states button[data-side="0"][data-state="active"]')),
        (5000, lambda: page.keyboard.press("k")),
        (3000, lambda: page.keyboard.press("f")),
        (1000, lambda: page.keyboard.press("Backspace")),
        (4000, lambda: page.click('#pair .states button[data-side="1"][data-state="apart"]')),
    ):
        page.clock.run_for(wait)
        act()
    page.clock.run_for(5000)
    page.click("#big")
    rows = rows_of(saved(page))
    assert [(r["athlete"], r["state"]) for r in rows] == [
        ("P1", "not rated"), ("P1", "active"), ("P2", "not rated"), ("P2", "standing grip"), ("P2", "apart"),
    ]  # fmt: skip
    length = [clock_seconds(r["end_clock"]) - clock_seconds(r["start_clock"]) for r in rows]
    assert length == pytest.approx([2, 18, 7, 8, 5], abs=0.35)
    assert {r["round_no"] for r in rows} == {"1"} and page.input_value("#round") == "2"
    pace = pd.DataFrame(rows).assign(round_no=1)
    start = clock_seconds(rows[0]["start_clock"])
    windows = pd.DataFrame(
        {"session": "1", "athlete": ["P1", "P2"], "round_no": 1, "start_s": start, "end_s": start + 20}
    )
    seconds, left, _ = second_by_second(pace, windows, states=PaceWords().states)
    assert not left
    counted = seconds.groupby(["athlete", "state"]).size()
    assert abs(counted["P1", "active"] - 18) <= 1 and abs(counted["P2", "standing grip"] - 8) <= 1


def test_it_says_what_is_missing_and_never_runs_code_from_a_code(open_page, page_file):
    page = open_page()
    page.goto(page_file.as_uri())
    page.click("#big")
    assert "rater's code" in page.inner_text("#said")
    page.fill("#rater", "Anna Müller")
    page.click("#big")
    assert "no name" in page.inner_text("#said")
    page.fill("#rater", "R1")
    page.click("#big")
    assert "whom you watch" in page.inner_text("#said")
    page.select_option("#who0", "P1")
    page.select_option("#who1", "P1")
    page.click("#big")
    assert "same person" in page.inner_text("#said")
    assert page.title() == "What they do in a round" and page.locator("#who0 option").count() == 5
    page.select_option("#source", "video")
    page.select_option("#who1", "")
    page.click("#big")
    assert "timekeeper's clock" in page.inner_text("#said")


def test_a_video_can_be_held_and_has_the_clock_of_the_evening(open_page, page_file):
    page = opened(open_page, page_file)
    page.select_option("#source", "video")
    page.fill("#began", "19:30:00")
    page.click("#big")
    page.keyboard.press("a")
    page.clock.run_for(10_000)
    page.keyboard.press(" ")
    page.clock.run_for(60_000)
    page.keyboard.press(" ")
    page.clock.run_for(5_000)
    page.click("#big")
    rows = [r for r in rows_of(saved(page)) if r["athlete"] == "P1" and r["state"] == "active"]
    assert rows[0]["start_clock"].startswith("19:30:00") and rows[0]["end_clock"].startswith("19:30:15")


def test_an_hour_of_use_keeps_every_mark_and_a_reload_keeps_none(open_page, page_file):
    page = opened(open_page, page_file)
    keys = "asdfjklo"
    for round_no in ("1", "2"):
        page.select_option("#round", round_no)
        page.click("#big")
        for i in range(150):
            page.clock.run_for(12_000)
            page.keyboard.press(keys[i % 4])
            page.keyboard.press(keys[4 + (i + 1) % 4])
        page.clock.run_for(1000)
        page.click("#big")
    rows = rows_of(saved(page))
    assert len(rows) == 2 * 2 * 151
    assert page.evaluate("window.localStorage.length + window.sessionStorage.length") == 0
    with page.expect_download() as waiting:
        page.click("#save")
    assert re.fullmatch(r"pace_R1_1\.csv", waiting.value.suggested_filename)
    assert len(rows_of(waiting.value.path().read_text(encoding="utf-8"))) == len(rows)
    page.reload()
    assert page.inner_text("#count") == "nothing rated yet"


def test_nothing_is_wrong_for_those_who_hear_or_type_it(open_page, page_file):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = opened(open_page, page_file)
    page.click("#big")
    assert axe.Axe().run(page).violations_count == 0
