"""Starting: old Pythons and missing modules are refused in words; every command finds the kit's own environment."""

import builtins
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from analysis import environment
from analysis.__main__ import build_parser, main

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture
def bare_copy(tmp_path):
    """The package alone, in a folder with a space and an umlaut, without an environment."""
    folder = tmp_path / "Kit Übung"
    shutil.copytree(ROOT / "analysis", folder / "analysis", ignore=shutil.ignore_patterns("__pycache__"))
    return folder


def run_without_site(folder, *arguments):
    """Run a command with a Python that has nothing installed."""
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "VIRTUAL", "CONDA"))}
    return subprocess.run(
        [sys.executable, "-S", "-m", "analysis", *arguments],
        cwd=folder,
        env=clean,
        capture_output=True,
        text=True,
        check=False,
    )


def test_without_an_environment_one_line_says_what_to_type(bare_copy):
    done = run_without_site(bare_copy, "check", "somewhere")
    assert done.returncode == 2
    assert done.stderr.strip().splitlines() == [
        f"Nothing is set up yet. Type this first:  {environment.python_name()} -m analysis setup"
    ]


def test_a_command_goes_on_inside_the_environment(bare_copy):
    inside = environment.environment_python(bare_copy)
    inside.parent.mkdir(parents=True)
    if os.name == "nt":
        pytest.skip("a stand-in for python.exe needs a compiler")
    inside.write_text('#!/bin/sh\necho "inside:$@"\n', encoding="utf-8")
    inside.chmod(0o755)
    done = run_without_site(bare_copy, "check", "a folder")
    assert done.stdout.strip() == "inside:-m analysis check a folder"


def test_help_works_with_nothing_installed(bare_copy):
    done = run_without_site(bare_copy, "report", "--help")
    assert done.returncode == 0 and "--no-notebooks" in done.stdout


@pytest.mark.parametrize("version", [(3, 8, 1), (3, 10, 12)])
def test_an_old_python_is_refused_with_a_remedy(version):
    text = environment.refuse_old_python(version)
    assert "3.11" in text and ".".join(map(str, version)) in text and "python.org" in text


def test_this_python_is_not_refused():
    assert environment.refuse_old_python() == ""


def test_files_read_by_an_old_python_have_no_new_syntax():
    import ast

    for name in ("__init__", "__main__", "environment"):
        ast.parse((ROOT / "analysis" / f"{name}.py").read_text(encoding="utf-8"), feature_version=(3, 7))


def test_a_python_without_venv_is_told_what_to_install(tmp_path, monkeypatch, capsys):
    real = builtins.__import__

    def refuse(name, *args, **kw):
        if name == "ensurepip":
            raise ImportError(name)
        return real(name, *args, **kw)

    monkeypatch.setattr(builtins, "__import__", refuse)
    monkeypatch.setattr(environment, "installed_here", lambda root: False)
    assert environment.setup(tmp_path, say=lambda text: None) == 2
    assert "python3-venv" in capsys.readouterr().err


def test_setup_does_nothing_where_the_kit_is_installed(monkeypatch):
    said = []
    monkeypatch.setattr(environment, "installed_here", lambda root: True)
    assert environment.setup(ROOT, say=said.append) == 0 and "already" in said[0]


def test_the_checkout_itself_does_not_count_as_installed(tmp_path, monkeypatch):
    facts = tmp_path / "club_sparring_study_kit.egg-info"
    facts.mkdir()
    (facts / "PKG-INFO").write_text("Metadata-Version: 2.1\nName: club-sparring-study-kit\nVersion: 0\n")
    monkeypatch.setattr(sys, "path", [str(tmp_path)])
    assert not environment.installed_here(tmp_path)
    assert environment.installed_here(tmp_path / "elsewhere")


def test_the_setup_mark_changes_with_the_dependencies(tmp_path):
    before = environment._fingerprint(tmp_path)
    (tmp_path / "constraints.txt").write_text("numpy==2.4.6\n")
    assert environment._fingerprint(tmp_path) != before


def test_a_failed_installation_says_the_likely_cause(tmp_path):
    (tmp_path / "pyproject.toml").write_text("this is not a project\n")
    text = environment._install(tmp_path, Path(sys.executable))
    assert "network" in text and len(text.splitlines()) < 20


@pytest.mark.parametrize("command", ["setup", "new", "check", "freeze", "report", "lab", "pool", "test"])
def test_every_command_explains_itself(command, capsys):
    with pytest.raises(SystemExit) as stop:
        build_parser().parse_args([command, "--help"])
    text = capsys.readouterr().out
    assert stop.value.code == 0 and f"-m analysis {command}" in text and len(text.split("\n\n")[1]) > 20


def test_errors_of_the_kit_are_sentences_not_tracebacks(tmp_path, capsys):
    assert main(["check", str(tmp_path / "not there")]) == 1
    assert "Traceback" not in capsys.readouterr().err


def test_what_follows_test_is_passed_on_and_nothing_else_is(monkeypatch, capsys):
    calls = []
    monkeypatch.setattr("analysis.__main__.relaunch", lambda arguments: None)
    monkeypatch.setattr("analysis.__main__.subprocess.call", lambda command, **kw: calls.append(command) or 0)
    assert main(["test", "--durations=3", "tests/basics", "-k", "words"]) == 0
    assert calls[0][-4:] == ["--durations=3", "tests/basics", "-k", "words"]
    with pytest.raises(SystemExit):
        main(["check", "--durations=3", "somewhere"])
    assert "unrecognized arguments: --durations=3" in capsys.readouterr().err


def test_what_users_are_told_to_type_is_what_starts_python_here():
    """Many systems know "python3" or "py" and no "python": the name comes from one place."""
    told = [
        path.relative_to(ROOT).as_posix()
        for kind in ("*.py", "*.md", "*.toml")
        for path in (ROOT / "analysis").rglob(kind)
        if re.search(r"\bpython -m analysis", path.read_text(encoding="utf-8"))
    ]
    assert told == []
