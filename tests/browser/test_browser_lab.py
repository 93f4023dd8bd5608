"""Notebooks in a real JupyterLab, started as `lab` starts it: all cells run, sliders move, no error, no request outside.

The first one and those with sliders; the reports of other tests run all of them. With LAB_PICTURES set: every notebook.
"""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from analysis.answers.walk import DEMO_FOLDER
from analysis.report.notebook_pages import find_notebooks

pytestmark = pytest.mark.browser

SECONDS = 180
PICTURES = os.environ.get("LAB_PICTURES")
"""A folder: keep a picture of every notebook there."""
FIRST, *OTHERS = find_notebooks()
WITH_SLIDERS = [path for path in OTHERS if "slider" in path.read_text(encoding="utf-8")]
IN_LAB = [path.name for path in (FIRST, *(OTHERS if PICTURES else WITH_SLIDERS))]


@pytest.fixture(scope="module")
def lab(browser, tmp_path_factory):
    """Start the lab on a copy of the demo with fresh settings of its own; gives its address."""
    home = tmp_path_factory.mktemp("lab")
    study = home / "study"
    shutil.copytree(DEMO_FOLDER, study, ignore=shutil.ignore_patterns("output", "notebooks"))
    config = home / "config"
    config.mkdir()
    (config / "jupyter_server_config.json").write_text(
        json.dumps(
            {"ServerApp": {"allow_root": True, "open_browser": False}, "LabApp": {"expose_app_in_browser": True}}
        )
    )
    environment = {
        **os.environ,
        "HOME": str(home),
        "JUPYTER_CONFIG_DIR": str(config),
        "IPYTHONDIR": str(home / "ipython"),
    }
    environment |= {"JUPYTER_DATA_DIR": str(home / "data"), "JUPYTER_RUNTIME_DIR": str(home / "run")}
    process = subprocess.Popen(
        [sys.executable, "-m", "analysis", "lab", str(study), "--no-browser"],
        cwd=Path(__file__).resolve().parents[2],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
    )
    lines = []
    reader = threading.Thread(target=lambda: [lines.append(line) for line in process.stdout], daemon=True)
    reader.start()
    try:
        yield _address(process, lines)
    finally:
        os.killpg(process.pid, signal.SIGTERM)
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
        reader.join(5)
        process.stdout.close()


def _address(process, lines):
    for _ in range(600):
        found = re.search(r"http://(?:localhost|127\.0\.0\.1):\d+/lab\S*token=\w+", " ".join(lines))
        if found and "ServerApp] http://" in " ".join(lines):  # from then on it answers
            return found[0]
        if process.poll() is not None:
            break
        time.sleep(0.1)
    pytest.fail("the lab did not start:\n" + "".join(lines[-20:]))


RUN_ALL = """async () => {
    const app = window.jupyterapp;
    const panel = app.shell.currentWidget;
    await panel.context.ready;
    await panel.context.sessionContext.ready;
    await app.commands.execute('notebook:run-all-cells');
    const cells = [...panel.content.model.cells];
    return cells.filter(c => c.type === 'code').map(c => ({
        source: c.sharedModel.getSource(), count: c.executionCount, outputs: c.outputs.toJSON()
    }));
}"""


@pytest.mark.parametrize("name", IN_LAB)
def test_notebook_runs_in_the_lab(lab, open_page, name):
    page = open_page(1400, 1000)
    page.goto(lab.replace("/lab?", f"/lab/tree/{name}?reset&"))
    page.wait_for_function(
        "() => window.jupyterapp?.shell?.currentWidget?.content?.model?.cells?.length", timeout=60_000
    )
    page.set_default_timeout(SECONDS * 1000)
    cells = page.evaluate(RUN_ALL)
    assert len(IN_LAB) >= 3
    assert cells and all(cell["count"] for cell in cells)
    for cell in cells:
        for output in cell["outputs"]:
            assert output["output_type"] != "error", f"{cell['source']}\n{output.get('ename')}: {output.get('evalue')}"
            assert output.get("name") != "stderr", f"{cell['source']}\n{output.get('text')}"
    if any("widget-view" in mime for c in cells for o in c["outputs"] for mime in o.get("data", {})):
        _move_every_slider(page)
        for width in (1280, 390):
            _drag_every_slider(page, width)
    if PICTURES:
        _keep_pictures(page, Path(PICTURES), name.removesuffix(".ipynb"))


def _move_every_slider(page):
    """Move each slider with the keyboard: its value changes and nothing under it turns into an error."""
    page.wait_for_selector(".widget-slider [role=slider], .widget-slider .noUi-handle", state="attached")
    handles = page.locator(".widget-slider .noUi-handle")
    assert handles.count() > 0
    for i in range(handles.count()):
        handle = handles.nth(i)
        handle.scroll_into_view_if_needed()
        assert any(_moves(page, handle, key) for key in ("ArrowRight", "ArrowLeft")), "the slider does not move"
    _no_error_under_it(page)


def _drag_every_slider(page, width):
    """Drag each slider with the mouse at this window width: it follows the pointer, and a small move is a small change."""
    page.set_viewport_size({"width": width, "height": 900})
    if width < 600:  # the list of files beside the notebook leaves it no room
        page.evaluate("window.jupyterapp.shell.collapseLeft()")
    page.wait_for_timeout(1000)
    tracks = page.locator(".widget-slider .noUi-target")
    for i in range(tracks.count()):
        track = tracks.nth(i)
        handle = track.locator(".noUi-handle")
        handle.scroll_into_view_if_needed()
        place = track.bounding_box()
        assert place["width"] >= 120, f"a track of {place['width']:.0f} px in a window of {width}"
        low, high = (float(handle.get_attribute(f"aria-value{end}")) for end in ("min", "max"))
        for share in (0.8, 0.3):
            _drag_to(page, handle, place["x"] + share * place["width"])
            now = (float(handle.get_attribute("aria-valuenow")) - low) / (high - low)
            assert abs(now - share) < 0.12, f"dragged to {share} of the track, went to {now:.2f} (window {width})"
    _no_error_under_it(page)


def _no_error_under_it(page):
    """Nothing is an error when all that the slider asked for is answered: the kernel has rested for half a second."""
    page.wait_for_function("""async () => {
        const { kernel } = window.jupyterapp.shell.currentWidget.sessionContext.session;
        for (let rested = 0; rested < 10; rested++) {
            if (kernel.status !== 'idle') return false;
            await new Promise(done => setTimeout(done, 50));
        }
        return true;
    }""")
    assert page.locator("[data-mime-type='application/vnd.jupyter.error']").count() == 0


def _drag_to(page, handle, x):
    box = handle.bounding_box()
    y = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + box["width"] / 2, y)
    page.mouse.down()
    page.mouse.move(x, y, steps=8)
    page.mouse.up()
    page.wait_for_timeout(300)


def _moves(page, handle, key):
    before = handle.get_attribute("aria-valuetext")  # aria-valuenow is rounded
    handle.focus()
    handle.press(key)
    for _ in range(20):
        if handle.get_attribute("aria-valuetext") != before:
            return True
        page.wait_for_timeout(100)
    return False


SCROLL = "e => { e.scrollTop += 0.9 * e.clientHeight; return e.scrollTop + e.clientHeight >= e.scrollHeight - 2; }"


def _keep_pictures(page, folder, name):
    folder.mkdir(parents=True, exist_ok=True)
    page.set_viewport_size({"width": 1280, "height": 900})
    page.evaluate("window.jupyterapp.shell.collapseLeft()")
    scroller = page.locator(".jp-WindowedPanel-outer").first
    scroller.evaluate("e => { e.scrollTop = 0; }")
    for part in range(30):
        page.wait_for_timeout(400)
        page.screenshot(path=folder / f"{name}_{part:02d}.png")
        if scroller.evaluate(SCROLL):
            break
