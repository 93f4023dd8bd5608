"""Single changes of a module that tests do not notice: ``python tests/benchmarks/mutations.py MODULE --tests PATH``.

A sample with a seed, in a copy of the tree: tools that change everything run for hours on a module of this size. One change at a
time: a comparison loosened or turned, a number moved, and/or exchanged, a sign turned, a condition made true, a keyword left out.
A change that no test notices is printed with its line, so that a test can be written or the change explained.
"""

from __future__ import annotations

import argparse
import ast
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TURNED = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
          ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is}  # fmt: skip
SWAPPED = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}


def places(tree: ast.AST) -> list[tuple[ast.AST, str]]:
    """Every place where one change is possible, outside docstrings and annotations."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare) and type(node.ops[0]) in TURNED:
            found.append((node, "comparison"))
        elif isinstance(node, ast.BinOp) and type(node.op) in SWAPPED:
            found.append((node, "operation"))
        elif isinstance(node, ast.BoolOp):
            found.append((node, "and/or"))
        elif (
            isinstance(node, ast.Constant)
            and isinstance(node.value, int | float)
            and not isinstance(node.value, bool)
        ):
            found.append((node, "number"))
        elif isinstance(node, ast.If | ast.IfExp):
            found.append((node, "condition"))
        elif isinstance(node, ast.Call) and node.keywords and all(k.arg for k in node.keywords):
            found.append((node, "keyword"))
    return found


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
    elif kind == "condition":
        node.test = ast.Constant(True)
    elif kind == "keyword":
        node.keywords.pop()
    return f"{before}  ->  {ast.unparse(node).splitlines()[0][:70]}"


def main() -> int:
    """Try some changes and print those that survive."""
    parser = argparse.ArgumentParser(description=__doc__.split(":")[0])
    parser.add_argument("module", help="for example analysis/cleaning/rules.py")
    parser.add_argument("--tests", nargs="+", required=True, help="what runs against each change")
    parser.add_argument("--n", type=int, default=12)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument(
        "--seconds", type=int, default=300, help="a run that takes longer has noticed the change"
    )
    options = parser.parse_args()
    source = (ROOT / options.module).read_text(encoding="utf-8")
    count = len(places(ast.parse(source)))
    chosen = random.Random(options.seed).sample(range(count), min(options.n, count))
    survivors = []
    with tempfile.TemporaryDirectory() as home:
        tree_copy = Path(home) / "kit"
        shutil.copytree(
            ROOT,
            tree_copy,
            ignore=shutil.ignore_patterns(".git", ".venv", "output", "__pycache__", "*.egg-info"),
        )
        command = [
            sys.executable,
            "-m",
            "pytest",
            "-q",
            "-x",
            "-n0",
            "-p",
            "no:cacheprovider",
            *options.tests,
        ]
        for number in sorted(chosen):
            tree = ast.parse(source)
            node, kind = places(tree)[number]
            line, said = node.lineno, change(node, kind)
            (tree_copy / options.module).write_text(
                ast.unparse(ast.fix_missing_locations(tree)), encoding="utf-8"
            )
            try:
                done = subprocess.run(
                    command, cwd=tree_copy, capture_output=True, timeout=options.seconds, check=False
                )
                noticed = done.returncode != 0
            except subprocess.TimeoutExpired:
                noticed = True
            if not noticed:
                survivors.append(line)
            print(f"{'noticed ' if noticed else 'SURVIVED'}  line {line:>4}  {kind:<10}  {said}", flush=True)
    print(f"{len(survivors)} of {len(chosen)} changes of {options.module} survived ({count} places)")
    return 0


if __name__ == "__main__":
    sys.exit(main())
