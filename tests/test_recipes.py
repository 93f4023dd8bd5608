"""DEVELOPERS.md is followed to the letter: its recipes in a copy of the kit, its lines for analyses of one's own."""

import ast
import importlib
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def kit(tmp_path_factory):
    """A copy of the package in which all three recipes were followed."""
    root = tmp_path_factory.mktemp("kit")
    shutil.copytree(ROOT / "analysis", root / "analysis", ignore=shutil.ignore_patterns("__pycache__"))
    for path, before, new in (*AEROBIC_TEST, *FORMAT, *FIGURE):
        file = root / "analysis" / path
        text = file.read_text(encoding="utf-8") if file.exists() else ""
        assert before in text, f"the recipe names a place that is not in {path}"
        file.write_text(text.replace(before, new + before, 1), encoding="utf-8")
    return root


def run(kit, *arguments):
    done = subprocess.run(
        [sys.executable, *arguments], cwd=kit, capture_output=True, text=True, check=False,
        env={"PYTHONPATH": str(kit), "PATH": "", "MPLBACKEND": "Agg", "HOME": str(kit)},
    )  # fmt: skip
    return done.stdout + done.stderr


AEROBIC_TEST = (
    (
        "physiology/running.py",
        '    AerobicEquation(\n        "run_12_min", "cooper_1968", ',
        '    AerobicEquation(\n        "sled_shuttle", "made_up", "sled shuttle over 10 m", "invented", MEMORY,\n'
        '        "20 + 0.01 m + 0.1 kg", lambda v: 20 + 0.01 * v["distance_m"] + 0.1 * v["sled_kg"],\n'
        '        (("distance_m", "sled_kg"),), "nobody", error=4.0, error_note="invented", error_provenance=MEMORY,\n'
        '        validity="500 to 3000 m",\n    ),\n',
    ),
    (
        "physiology/aerobic_tests.py",
        '        AerobicInput("distance_mi",',
        '        AerobicInput("sled_kg", "kg", "mass on the sled", 5, 200),\n',
    ),
)
"""File, what stands behind the place, what is written there."""


@pytest.fixture(scope="module")
def folder(kit):
    made = run(kit, "-m", "analysis", "new", "study", "--rounds", "3", "--csv", "--test", "sled_shuttle")
    assert "Made" in made, made
    study = kit / "study"
    head = (study / "aerobic_tests.csv").read_text(encoding="utf-8-sig").splitlines()[0]
    assert head == "athlete,date,test,distance_m,sled_kg,note"
    people = "".join(f"A0{i},2{i},M,yes,yes,yes\n" for i in range(1, 7))
    (study / "athletes.csv").write_text(
        "athlete,age_years,sex,consent_measured,consent_shared_data,cleared\n" + people, encoding="utf-8"
    )
    tests = "".join(f"A0{i},2026-03-01,sled_shuttle,{1500 + 100 * i},40,\n" for i in range(1, 7))
    (study / "aerobic_tests.csv").write_text(f"{head}\n{tests}", encoding="utf-8")
    (study / "recordings" / "A01.spar").write_bytes(b"SPAR0001" + bytes(120 + s % 30 for s in range(600)))
    return study


def test_an_aerobic_test_reaches_workbook_check_sheet_and_capacity(kit, folder):
    code = (
        "from analysis.answers import Answers; from analysis.study import load_study\n"
        "from analysis.sheets import fitness_sheets\n"
        "answers = Answers(load_study('study'))\n"
        "print(answers.capacity['capacity'].tolist(), answers.capacity['test'].unique().tolist())\n"
        "print([c.name for s in fitness_sheets(answers.study) for c in s.columns])\n"
    )
    said = run(kit, "-c", code)
    assert "[40.0, 41.0, 42.0, 43.0, 44.0, 45.0] ['sled_shuttle']" in said
    assert "'distance_m', 'sled_kg'" in said
    tests = folder / "aerobic_tests.csv"
    text = tests.read_text(encoding="utf-8")
    tests.write_text(text.replace(",40,", ",900,", 1), encoding="utf-8")
    found = run(kit, "-m", "analysis", "check", "study", "--quick")
    tests.write_text(text, encoding="utf-8")
    assert "sled_kg" in found and "900" in found


READER = """\"\"\"A made-up format: eight letters, then a heart rate a second.\"\"\"

import numpy as np

from .tidy import RawTrace


def read_spar(data: bytes) -> RawTrace:
    rates = np.frombuffer(data[8:], dtype=np.uint8).astype(float)
    return RawTrace(np.arange(len(rates), dtype=float), rates)
"""
FORMAT = (
    ("recordings/spar.py", "", READER),
    ("recordings/formats.py", "from .table import", "from .spar import read_spar\n"),
    (
        "recordings/formats.py",
        '    Format(\n        "table", ',
        '    Format(\n        "SPAR", (".spar",), lambda head, start: head[:8] == b"SPAR0001",\n'
        '        lambda data, name, label: read_spar(data), lambda data, name: (), lambda data, name: ("SPAR", False, False),\n'
        '        lambda: b"SPAR0001" + bytes(range(100, 160)),\n    ),\n',
    ),
)


def test_a_format_is_read_counted_by_check_inspected_and_fuzzed(kit, folder):
    code = (
        "from analysis.recordings import read_recording, inspect_recording\n"
        "from analysis.recordings.formats import ENDINGS, FORMATS\n"
        "path = 'study/recordings/A01.spar'\n"
        "print(read_recording(path).samples['hr_bpm'].iloc[:3].tolist(), inspect_recording(path).kind, '.spar' in ENDINGS)\n"
    )
    assert "[120.0, 121.0, 122.0] SPAR True" in run(kit, "-c", code)
    assert "1 recording" in run(kit, "-m", "analysis", "check", "study")
    (kit / "tests").mkdir(exist_ok=True)
    shutil.copy(ROOT / "tests" / "recordings" / "mutate.py", kit / "tests")  # what the fuzz command starts from
    code = "import sys; sys.path.insert(0, 'tests'); import mutate; print(list(mutate.seeds()))"
    assert "SPAR.spar" in run(kit, "-c", code)


FIGURE = (
    (
        "telling/rounds/figures.py",
        "def draw_steps(",
        "def draw_first_and_last(answer, *, ax=None):\n"
        '    """Draw the estimate of the change from the first to the last round.\n\n'
        "    Examples\n    --------\n    >>> from types import SimpleNamespace\n"
        "    >>> made = SimpleNamespace(steps=[4.0, 9.0])\n"
        "    >>> draw_first_and_last(made).axes[0].get_xlabel()\n    'Round (number)'\n"
        '    """\n'
        "    figure, axes = new_axes(ax)\n"
        '    axes.plot([1, 2], answer.steps, "o-", color=MAIN)\n'
        '    axes.set(xlabel="Round (number)", ylabel="Change (bpm)", xlim=(0.8, 2.2), ylim=(3.5, 9.5))\n'
        '    return finish(figure, f"A line from {answer.steps[0]} to {answer.steps[1]} bpm, rising.")\n\n\n',
    ),
)


def test_a_figure_is_found_by_its_name_held_to_the_rules_and_at_hand_in_notebooks(kit):
    (kit / "tests" / "telling").mkdir(parents=True, exist_ok=True)
    shared = [path.name for path in (ROOT / "tests").glob("*.py") if not path.name.startswith("test_")]
    for name in (*shared, "telling/figure_rules.py", "telling/test_figures_all.py"):
        shutil.copy(ROOT / "tests" / name, kit / "tests" / name)
    shutil.copytree(ROOT / "data_demo", kit / "data_demo", ignore=shutil.ignore_patterns("output"), dirs_exist_ok=True)
    said = run(
        kit, "-m", "pytest", "-p", "no:cacheprovider", "tests/telling/test_figures_all.py",
        "-k", "of_the_example and draw_first_and_last",
    )  # fmt: skip
    assert "1 passed" in said, said
    assert "draw_first_and_last" in run(kit, "-c", "from analysis.notebook.face import draw; print(dir(draw))")


def test_the_lines_for_analyses_of_ones_own_run(tmp_path, monkeypatch):
    monkeypatch.chdir(ROOT)
    code = DEVELOPERS.split("## For analyses of your own")[1].split("```python\n")[1].split("```")[0]
    exec(code, {"folder_of_your_own": tmp_path})
    assert {p.suffix for p in tmp_path.iterdir()} >= {".svg"}


def names_used(text):
    """The names that a piece of Python reads: plain, as attributes, and as words in quotation marks."""
    found = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            found.add(node.id)
        elif isinstance(node, ast.Attribute):
            found.add(node.attr)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            found.add(node.value)
    return found


def test_every_public_name_is_used_by_the_kit_or_shown_to_developers():
    used = set(re.findall(r"\w+", DEVELOPERS + (ROOT / "README.md").read_text(encoding="utf-8")))
    for path in [*(ROOT / "analysis").rglob("*.py"), *(ROOT / "data_demo").rglob("*.py")]:
        if path.name != "__init__.py":
            used |= names_used(path.read_text(encoding="utf-8"))
    for path in (ROOT / "notebooks").glob("*.ipynb"):
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        used |= names_used("\n".join("".join(c["source"]) for c in cells if c["cell_type"] == "code"))
    public = {
        f"{path.parent.name}.{name}"
        for path in (ROOT / "analysis").glob("*/__init__.py")
        for name in getattr(importlib.import_module(f"analysis.{path.parent.name}"), "__all__", ())
    }
    assert sorted(name for name in public if name.split(".")[1] not in used) == []
