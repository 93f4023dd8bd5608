"""Single changes of a module that tests do not notice: ``python tests/benchmarks/mutations.py MODULE --tests PATH``.

A sample with a seed, in a copy of the tree: tools that change everything run for hours on a module of this size. One change at a
time: a comparison loosened or turned, a number moved, and/or, any/all, min/max, true/false exchanged, a sign turned, a condition
made true or false, a "not" or a keyword left out. A change that no test notices is printed with its line, so that a test can be
written or the change explained. Libraries are imported once and each change is tried in a fork, so not on Windows.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import importlib
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TURNED = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
          ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is}  # fmt: skip
NAMES = {"any": "all", "all": "any", "min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum"}
LIBRARIES = (
    "pytest",
    "hypothesis",
    "pandas",
    "scipy.stats",
    "scipy.optimize",
    "matplotlib.pyplot",
    "seaborn",
    "pingouin",
    "joblib",
)
OPTIONS = ("-q", "-x", "-n0", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning")
SWAPPED = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}


def places(tree: ast.AST) -> list[tuple[ast.AST, str]]:
    """Every place where one change is possible, outside docstrings and annotations."""
    found, guards = [], set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and named(node) in ("zip", "dataclass"):
            guards |= {id(k.value) for k in node.keywords}  # strict and frozen are tests of the code by itself
            continue
        if id(node) in guards:
            continue
        if isinstance(node, ast.Compare) and type(node.ops[0]) in TURNED:
            found.append((node, "comparison"))
        elif isinstance(node, ast.BinOp) and type(node.op) in SWAPPED:
            found.append((node, "operation"))
        elif isinstance(node, ast.BoolOp):
            found.append((node, "and/or"))
        elif (
            isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool)
        ):
            found.append((node, "number"))
        elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
            found.append((node, "true/false"))
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            found.append((node, "not"))
        elif isinstance(node, ast.If | ast.IfExp):
            found += [(node, "condition"), (node, "never")]
        elif isinstance(node, ast.Call) and named(node) in NAMES:
            found.append((node, "any/all"))
        elif isinstance(node, ast.Call) and node.keywords and all(k.arg for k in node.keywords):
            found.append((node, "keyword"))
    return found


def named(call: ast.Call) -> str:
    """The name that is called, with or without a module or object before it."""
    return getattr(call.func, "attr", getattr(call.func, "id", ""))


def change(node: ast.AST, kind: str) -> str:
    """Change a node in place and say what was done."""
    before = ast.unparse(node).splitlines()[0][:70]
    if kind == "comparison":
        node.ops[0] = TURNED[type(node.ops[0])]()
    elif kind == "operation":
        node.op = SWAPPED[type(node.op)]()
    elif kind == "and/or":
        node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    elif kind == "number":
        node.value = node.value * 1.5 + 1 if isinstance(node.value, float) else node.value + 1
    elif kind == "true/false":
        node.value = not node.value
    elif kind == "not":
        node.op = ast.UAdd()
        node.operand = ast.Call(ast.Name("bool", ast.Load()), [node.operand], [])
    elif kind in ("condition", "never"):
        node.test = ast.Constant(kind == "condition")
    elif kind == "any/all":
        setattr(node.func, "attr" if hasattr(node.func, "attr") else "id", NAMES[named(node)])
    elif kind == "keyword":
        node.keywords.pop()
    return f"{before}  ->  {ast.unparse(node).splitlines()[0][:70]}"


def run_tests(home: Path, tests: list[str], seconds: int) -> bool:
    """Run the tests of a tree in a fork: True where all pass in time."""
    child = os.fork()
    if child == 0:
        os.setpgid(0, 0)
        os.chdir(home)
        sys.path.insert(0, str(home))
        sys.dont_write_bytecode = True
        with open(os.devnull, "w") as nowhere:
            for stream in (1, 2):
                os.dup2(nowhere.fileno(), stream)
        code = 1
        with contextlib.suppress(BaseException):
            code = int(importlib.import_module("pytest").main([*OPTIONS, *tests]))
        os._exit(code)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return status == 0
        time.sleep(0.05)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return False


def main() -> int:
    """Try some changes and print those that survive."""
    parser = argparse.ArgumentParser(description=__doc__.split(":")[0])
    parser.add_argument("module", help="for example analysis/cleaning/flags.py")
    parser.add_argument("--tests", nargs="+", required=True, help="what runs against each change")
    parser.add_argument("--n", type=int, default=12)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--lines", type=int, nargs="*", help="only changes of these lines")
    parser.add_argument("--seconds", type=int, default=300, help="a run that takes longer has noticed the change")
    options = parser.parse_args()
    source = (ROOT / options.module).read_text(encoding="utf-8")
    every = range(len(places(ast.parse(source))))
    if options.lines:
        every = [i for i in every if places(ast.parse(source))[i][0].lineno in options.lines]
    chosen = random.Random(options.seed).sample(every, min(options.n, len(every)))
    survivors = []
    for library in LIBRARIES:
        importlib.import_module(library)
    left_behind = shutil.ignore_patterns(".git", ".venv", "output", "__pycache__", "*.egg-info")
    with tempfile.TemporaryDirectory() as home:
        kit = Path(home) / "kit"
        shutil.copytree(ROOT, kit, ignore=left_behind)
        if not run_tests(kit, options.tests, options.seconds):
            print("the tests fail before anything is changed")
            return 1
        for number in sorted(chosen):
            tree = ast.parse(source)
            node, kind = places(tree)[number]
            line, said = node.lineno, change(node, kind)
            (kit / options.module).write_text(ast.unparse(ast.fix_missing_locations(tree)), encoding="utf-8")
            noticed = not run_tests(kit, options.tests, options.seconds)
            if not noticed:
                survivors.append(line)
            print(f"{'noticed ' if noticed else 'SURVIVED'}  line {line:>4}  {kind:<10}  {said}", flush=True)
    print(f"{len(survivors)} of {len(chosen)} changes of {options.module} survived ({len(every)} places)")
    return 0


if __name__ == "__main__":
    sys.exit(main())
