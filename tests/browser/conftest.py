"""A headless Chromium for the tests marked `browser`; they are skipped where there is none."""

import os
import shutil

import pytest

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def find_chromium():
    """Return the path of a Chromium, or None."""
    named = os.environ.get("CHROMIUM")
    return named or next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


@pytest.fixture(scope="session")
def browser():
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = find_chromium()
    if path is None:
        pytest.skip("there is no Chromium")
    with playwright.sync_playwright() as running:
        started = running.chromium.launch(executable_path=path, args=FLAGS)
        yield started
        started.close()


@pytest.fixture
def open_page(browser):
    """Open a page of some size; afterwards fail on a request to another machine or an error of a script."""
    contexts, outside, errors = [], [], []

    def is_outside(url):
        local = (
            "file:",
            "data:",
            "blob:",
            "about:",
            "http://localhost",
            "http://127.0.0.1",
            "ws://localhost",
            "ws://127.0.0.1",
        )
        return not url.startswith(local)

    def open_one(width=1280, height=900):
        context = browser.new_context(viewport={"width": width, "height": height})
        contexts.append(context)
        page = context.new_page()
        page.on("request", lambda request: outside.append(request.url) if is_outside(request.url) else None)
        page.on("pageerror", lambda error: errors.append(str(error)))
        return page

    yield open_one
    for context in contexts:
        context.close()
    assert outside == []
    assert errors == []
