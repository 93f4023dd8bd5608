"""A disk that is full, may not be written or takes no large file: one sentence, nothing half-written, and it can be run again."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from analysis.basics.parallel import SideBySide
from analysis.study import new_study

ROOT = Path(__file__).resolve().parents[2]

SCRIPT = """
import contextlib, hashlib, io, json, os, sys
from pathlib import Path
from analysis.__main__ import main
from analysis.report.notebook_pages import copy_notebooks
from analysis.report.output import build_aside
from analysis.study import freeze_plan, load_study

study, kind, said = Path(sys.argv[1]), sys.argv[2], []

def files():
    found = {str(p): hashlib.md5(p.read_bytes()).hexdigest() for p in study.parent.rglob("*") if p.is_file()}
    return {name: mark for name, mark in found.items() if not name.endswith("ballast")}

def output():
    build_aside(study / "output", lambda folder: (folder / "page.html").write_text("x" * 30_000))

def fix():  # what `freeze` does once it has worked out how sure the answer will be
    word = lambda _, path: path.write_bytes(bytes(30_000))
    freeze_plan(load_study(study), justification="As many as the club has.", beside=word)

def command(*words):
    return lambda: main([*words[:1], str(study), *words[1:]])

COMMANDS = {
    "new": lambda: main(["new", str(study.parent / "other")]),
    "pace": command("pace"),
    "decisions": lambda: main(["check", "--quick", "--write-decisions", str(study.parent / "slips")]),
    "freeze": fix,
    "check": command("check"),
    "notebooks": lambda: copy_notebooks(study),
    "output": output,
}

def run(name):
    errors = io.StringIO()
    before = files()
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(errors):
        try:
            code = COMMANDS[name]() or 0
        except Exception as error:
            code = f"{type(error).__name__}: {error}"
    code = "done" if isinstance(code, tuple) else code
    return [name, code, errors.getvalue(), sorted(set(files().items()) ^ set(before.items()))]

def attempt():
    return [run(name) for name in COMMANDS]

if kind == "full":
    space = os.statvfs(study)
    (study.parent / "ballast").write_bytes(bytes(space.f_bavail * space.f_frsize))
if kind == "small":
    import resource
    resource.setrlimit(resource.RLIMIT_FSIZE, (100, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))
first = attempt()
if kind == "full":
    (study.parent / "ballast").unlink()
if kind == "small":
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.getrlimit(resource.RLIMIT_FSIZE)[1],) * 2)
print(json.dumps([first, attempt() if kind != "fixed" else []]))
"""


def filled(folder):
    """A study with a plan that may be fixed, and beside it one that has something to propose for its decisions."""
    made = new_study(folder, workbook=False)
    text = (made / "study.toml").read_text(encoding="utf-8")
    text = text.replace('approval = ""', 'approval = "7"').replace("# n_athletes = 12", "n_athletes = 12")
    (made / "study.toml").write_text(text, encoding="utf-8")
    people = "".join(f"A{i},2{i},F,yes,yes\n" for i in range(1, 6))
    (made / "athletes.csv").write_text("athlete,age_years,sex,consent_measured,cleared\n" + people)
    slips = shutil.copytree(made, made.parent / "slips")
    (slips / "rounds.csv").write_text("session,athlete,round_no,exertion\n1,A1,1,61\n")
    return made


def run_in(kind, folder, *, before="", inside=()):
    """Run the commands in a process, where wanted with a file system of its own; skip in words where that is not allowed."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1", "OMP_NUM_THREADS": "1"}
    command = [sys.executable, "-c", SCRIPT, str(folder), kind]
    if before:
        if not shutil.which("unshare"):
            pytest.skip("no unshare here: a disk of its own cannot be made without privileges")
        own = ["unshare", "-rm", "sh", "-c"]
        if subprocess.run([*own, f"{before} true"], capture_output=True, check=False).returncode:
            pytest.skip("this system allows no user namespaces: a disk of its own cannot be made without privileges")
        command = [*own, f'{before} "$@"', "sh", *command]
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False, timeout=120)
    assert "Traceback" not in done.stderr and "Exception ignored" not in done.stderr, done.stderr[-2000:]
    return json.loads(done.stdout.splitlines()[-1])


def judge(first, second, *, why):
    for name, code, said, changed in first:
        if name == "check":  # writes nothing that anybody needs
            assert code in (0, 1) and not said
            continue
        assert why in f"{code}{said}", (name, code, said)
        assert code == 1 or "KitError" in str(code)
        assert len(said.strip().splitlines()) <= 1 and "Traceback" not in said
        assert not changed, name
    for name, code, _, changed in second:
        assert code in (0, "done") or name in ("check", "decisions"), (name, code)
        assert not [file for file, _ in changed if "partial" in file]


pytestmark = pytest.mark.skipif(os.name != "posix", reason="file systems as on POSIX")


def test_a_disk_that_is_full(tmp_path):
    source, place = filled(tmp_path / "source"), tmp_path / "disk"
    place.mkdir()
    before = f"mount -t tmpfs -o size=6m tmpfs '{place}' && cp -r '{source}' '{source.parent}/slips' '{place}' &&"
    judge(*run_in("full", place / "source", before=before), why="No space left on device")


def test_a_disk_that_may_only_be_read(tmp_path):
    study = filled(tmp_path / "disk" / "study")
    disk = tmp_path / "disk"
    before = f"mount --bind '{disk}' '{disk}' && mount -o remount,ro,bind '{disk}' &&"
    judge(*run_in("fixed", study, before=before), why="Read-only file system")
    assert sorted(os.listdir(disk)) == ["slips", "study"]


def test_a_limit_on_the_size_of_files(tmp_path):
    """As a full quota behaves: what is short is written, what is long is not."""
    judge(*run_in("small", filled(tmp_path / "disk" / "study")), why="File too large")


@pytest.mark.parametrize("error", [BrokenPipeError, OSError, RuntimeError])
def test_a_machine_that_gives_no_workers(monkeypatch, error):
    from analysis.basics import parallel

    def none(*_):
        raise error

    monkeypatch.setattr(parallel, "ProcessPoolExecutor", none)
    with SideBySide(cores=4) as workers:
        assert workers.run(lambda shared, piece: piece + 1, [1, 2, 3]) == [2, 3, 4]


@pytest.mark.parametrize("reader_there", [True, False])
def test_a_pipe_of_our_own_that_breaks_is_no_success(tmp_path, reader_there):
    (tmp_path / "broken.py").write_text(
        "import sys\nfrom analysis import __main__ as kit\n"
        "def broken(options):\n    sys.stdin.read()\n    raise BrokenPipeError(32, 'Broken pipe')\n"
        "kit.run_check = broken\nsys.exit(kit.main(['check', 'study']))\n"
    )
    path = os.pathsep.join([str(ROOT), str(tmp_path)])
    process = subprocess.Popen(
        [sys.executable, "-m", "broken"], env={**os.environ, "PYTHONPATH": path}, stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    if not reader_there:
        process.stdout.close()
    process.stdin.close()
    said = process.stderr.read()
    assert process.wait() == (1 if reader_there else 0)
    assert ("run the command again" in said) == reader_there
    process.stderr.close()
    process.stdout.close()
