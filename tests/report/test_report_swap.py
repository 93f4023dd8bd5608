"""Putting an output in place: an interruption at any moment leaves the previous one as it was."""

import json
import os
import signal
import subprocess
import sys
import textwrap
import time

import pytest

from analysis.basics import KitError
from analysis.report.output import build_aside, output_checksums


def _write(text):
    def fill(folder):
        (folder / "page.html").write_text(text)
        (folder / "for_you").mkdir()
        (folder / "for_you" / "about.json").write_text(json.dumps({"output": output_checksums(folder)}))

    return fill


def _texts(folder):
    return {p.name: p.read_text() for p in folder.iterdir() if p.is_file()}


def _nothing_else(parent, *names):
    return sorted(p.name for p in parent.iterdir()) == sorted(names)


def test_new_output_takes_the_place_of_the_old(tmp_path):
    out = tmp_path / "output"
    build_aside(out, _write("first"))
    build_aside(out, _write("second"))
    assert _texts(out) == {"page.html": "second"}
    assert sorted(p.name for p in out.iterdir()) == ["for_you", "page.html"]
    assert _nothing_else(tmp_path, "output")


@pytest.mark.parametrize("error", [RuntimeError, KeyboardInterrupt, SystemExit])
def test_failure_while_filling_keeps_the_old(tmp_path, error):
    out = tmp_path / "output"
    build_aside(out, _write("first"))

    def broken(folder):
        (folder / "page.html").write_text("half")
        raise error

    with pytest.raises(error):
        build_aside(out, broken)
    assert _texts(out)["page.html"] == "first"
    assert _nothing_else(tmp_path, "output")


def test_failure_of_the_second_renaming_puts_the_old_back(tmp_path, monkeypatch):
    from pathlib import Path

    out = tmp_path / "output"
    build_aside(out, _write("first"))
    renamed = Path.rename

    def rename(self, target):
        if ".partial-" in self.name:
            raise OSError("no more")
        return renamed(self, target)

    monkeypatch.setattr(Path, "rename", rename)
    with pytest.raises(KitError, match=r"no more.*unchanged"):
        build_aside(out, _write("second"))
    assert _texts(out)["page.html"] == "first"


def test_machine_stopped_between_the_renamings_is_mended_by_the_next_run(tmp_path):
    out = tmp_path / "output"
    build_aside(out, _write("first"))
    out.rename(tmp_path / ".output.previous")

    def broken(folder):
        raise RuntimeError

    with pytest.raises(RuntimeError):
        build_aside(out, broken)
    assert _texts(out)["page.html"] == "first"


def test_file_held_open_is_named(tmp_path, monkeypatch):
    from pathlib import Path

    out = tmp_path / "output"
    build_aside(out, _write("first"))
    renamed = Path.rename

    def rename(self, target):  # as Windows behaves while Word has the file open
        if self.name in ("output", "page.html"):
            raise PermissionError(13, "used by another process")
        return renamed(self, target)

    monkeypatch.setattr(Path, "rename", rename)
    with pytest.raises(KitError, match=r"output.page\.html is open in another program"):
        build_aside(out, _write("second"))
    assert _texts(out)["page.html"] == "first"


def test_foreign_folder_is_never_replaced(tmp_path):
    out = tmp_path / "output"
    out.mkdir()
    (out / "thesis.docx").write_text("years of work")
    with pytest.raises(KitError, match="did not write"):
        build_aside(out, _write("first"))
    assert (out / "thesis.docx").exists()
    with pytest.raises(KitError, match="is a file"):
        build_aside(out / "thesis.docx", _write("first"))


@pytest.mark.skipif(os.name != "posix", reason="signals as on POSIX")
def test_killed_half_way_leaves_the_old_and_the_next_run_clears_up(tmp_path):
    out = tmp_path / "output"
    build_aside(out, _write("first"))
    script = textwrap.dedent(
        f"""
        import time
        from analysis.report.output import build_aside
        def slow(folder):
            (folder / "page.html").write_text("half")
            print("started", flush=True)
            time.sleep(60)
        build_aside({str(out)!r}, slow)
        """
    )
    process = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True)
    assert process.stdout.readline().strip() == "started"
    process.send_signal(signal.SIGKILL)
    process.wait()
    process.stdout.close()
    assert _texts(out)["page.html"] == "first"
    time.sleep(0.05)
    build_aside(out, _write("second"))
    assert _texts(out)["page.html"] == "second"
    assert _nothing_else(tmp_path, "output")
