"""The house as the design draws it: what stands at the top level, and which room may look into which."""

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
ROOMS = (
    "basics", "models", "physiology", "recordings", "study", "cleaning", "pace", "rounds", "capacity", "replication",
    "planning", "training", "survey", "answers", "telling", "sheets", "report", "notebook",
)  # fmt: skip
TOP = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "environment.yml", "constraints.txt", "analysis", "notebooks",
    "data_demo", "tests",
}  # fmt: skip
PASS_ALONG = {"build", "club_sparring_study_kit.egg-info", "__pycache__", "uv.lock"}


def rooms_imported(path: Path) -> set[str]:
    """Return the names of the rooms that a module imports, wherever in it the import stands."""
    parts = path.relative_to(ROOT / "analysis").with_suffix("").parts
    package = ["analysis", *parts[:-1]]
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.Import):
            names = [a.name for a in node.names]
        elif isinstance(node, ast.ImportFrom):
            start = package[: len(package) - node.level + 1] if node.level else []
            base = ".".join([*start, *([node.module] if node.module else [])])
            names = [base] if base != "analysis" else [f"analysis.{a.name}" for a in node.names]
        found |= {n.split(".")[1] for n in names if n.startswith("analysis.")}
    return found & set(ROOMS)


def test_top_level_is_the_one_of_the_design():
    here = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")} - PASS_ALONG
    assert here == TOP


def test_every_room_of_the_design_exists():
    there = {p.name.removesuffix(".py") for p in (ROOT / "analysis").iterdir() if p.name[0] not in "._"}
    assert there == set(ROOMS) | {"environment"}


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_imports_only_from_rooms_above_it(room):
    above = set(ROOMS[: ROOMS.index(room) + 1])
    below = {
        f"{path.relative_to(ROOT)} imports {name}"
        for path in (ROOT / "analysis" / room).rglob("*.py")
        for name in rooms_imported(path) - above
    }
    assert not below


def modules_imported(path: Path) -> set[str]:
    """Return the modules of the kit that a module imports, late and type-checking imports counted."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.ImportFrom):
            continue
        start = list(parts[: len(parts) - node.level]) if node.level else []
        base = [*start, *(node.module.split(".") if node.module else [])]
        for name in node.names:
            for target in (ROOT.joinpath(*base, name.name), ROOT.joinpath(*base)):
                if target.with_suffix(".py").is_file():
                    found.add(".".join(target.relative_to(ROOT).parts))
                    break
    return found


def test_no_module_imports_itself_through_others():
    graph = {
        ".".join(p.relative_to(ROOT).with_suffix("").parts): modules_imported(p)
        for p in (ROOT / "analysis").rglob("*.py")
        if p.name != "__init__.py"
    }
    done: set[str] = set()

    def walk(module, way):
        if module in way:
            raise AssertionError("a circle: " + " -> ".join([*way[way.index(module) :], module]))
        if module not in done:
            for other in sorted(graph.get(module, ())):
                walk(other, [*way, module])
            done.add(module)

    for module in sorted(graph):
        walk(module, [])


def test_no_module_is_a_splinter_or_holds_two_topics():
    lines = {
        str(p.relative_to(ROOT)): len(p.read_text(encoding="utf-8").splitlines())
        for p in (ROOT / "analysis").rglob("*.py")
        if p.name not in ("__init__.py", "__main__.py", "startup.py")  # startup.py: what a kernel runs first
    }
    assert not {name: n for name, n in lines.items() if n > 600 or n < 40}


def test_the_import_reader_sees_relative_and_late_imports(tmp_path):
    room = ROOT / "analysis" / "answers"
    assert {"study", "basics"} <= rooms_imported(room / "walk.py")


@pytest.mark.parametrize("module", ["analysis", "analysis.environment", "analysis.__main__"])
def test_starting_needs_only_the_standard_library(module):
    code = (
        f"import sys; sys.path.insert(0, {str(ROOT)!r}); import {module}; "
        "print([m for m in sys.modules if m.split('.')[0] in ('numpy', 'pandas', 'scipy', 'matplotlib')])"
    )
    done = subprocess.run([sys.executable, "-I", "-S", "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_environment_yml_installs_this_package_and_names_no_dependency_twice():
    lines = [line.strip() for line in (ROOT / "environment.yml").read_text().splitlines() if not line.startswith("#")]
    entries = [line.removeprefix("- ") for line in lines if line.startswith("- ")]
    assert "--editable .[test,browser,cluster]" in entries
    assert "--constraint constraints.txt" in entries
    python = next(e for e in entries if e.startswith("python="))
    needs = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["requires-python"]
    assert tuple(map(int, python.split("=")[1].split("."))) >= tuple(map(int, needs.removeprefix(">=").split(".")))
    assert not any(e.startswith(("numpy", "pandas", "scipy")) for e in entries)


def test_constraints_pin_every_dependency_and_name_no_address():
    text = (ROOT / "constraints.txt").read_text()
    assert "://" not in text
    pinned = {line.split("==")[0].lower().replace("_", "-") for line in text.splitlines() if "==" in line}
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = {
        d.split(">")[0].split("[")[0]
        for d in [*project["dependencies"], *(d for extra in project["optional-dependencies"].values() for d in extra)]
    }
    assert wanted <= pinned


def test_files_that_texts_name_are_there():
    """A benchmark or module that a docstring or a guide points to exists."""
    named = re.compile(r"\b(?:tests|analysis|data_demo|notebooks)/[\w/]+\.(?:py|csv|md|toml|json|ipynb)\b")
    texts = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "analysis").rglob("*.py")]
    found = {(t.name, f) for t in texts for f in named.findall(t.read_text(encoding="utf-8"))}
    assert found and [pair for pair in sorted(found) if not (ROOT / pair[1]).exists()] == []
