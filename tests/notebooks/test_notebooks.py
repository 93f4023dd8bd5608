"""Notebooks keep their shape, and run from top to bottom on the demo, on half-filled folders and on another club's study."""

import json
import re
from functools import partial
from pathlib import Path

import pytest
from half_filled import LEFT_OUT

from analysis import planning
from analysis.answers import Answers, open_survey, open_training
from analysis.answers.walk import DEMO_FOLDER

NOTEBOOKS = sorted((Path(__file__).resolve().parents[2] / "notebooks").glob("*.ipynb"))
KINDS = [*LEFT_OUT, "another club"]
ONLY = {"no aerobic tests": ("00", "05", "06", "07"), "nothing published": ("00", "06", "07")}
"""Folders that differ from the demo for these notebooks alone; the others are run on every notebook."""
OF_ANOTHER_STUDY = ("08", "09")
"""Without a survey or a training study these show those of the demo, the same from every folder: run from one alone."""
PAIRS = [
    (p, k)
    for k in KINDS
    for p in NOTEBOOKS
    if p.name[:2] in ONLY.get(k, (p.name[:2],)) and (p.name[:2] not in OF_ANOTHER_STUDY or k == KINDS[-1])
]


def cells_of(path):
    return json.loads(path.read_text(encoding="utf-8"))["cells"]


def source(cell):
    return "".join(cell["source"])


@pytest.fixture(scope="module")
def opened(half_filled_answers):
    """The answers of each folder that a notebook opens, so that notebooks share what they compute."""
    return {Path(answers.study.folder).resolve(): answers for answers in half_filled_answers.values()}


@pytest.fixture
def fewer_studies(monkeypatch):
    """Simulate forty studies where a notebook asks for hundreds; the report of the demo simulates them all."""

    def few(simulate):
        return lambda *given, n_studies, **more: simulate(*given, n_studies=min(n_studies, 40), **more)

    for name in ("simulate_studies", "simulate_grid", "compare_covariances"):
        monkeypatch.setattr(planning, name, few(getattr(planning, name)))
    monkeypatch.setattr(planning, "assure_design", partial(planning.assure_design, n_draws=20, n_studies=10))


@pytest.fixture
def no_pixels(monkeypatch):
    """Draw every figure, so that it fails where it cannot be drawn, and leave out its pixels, which nobody looks at."""
    monkeypatch.setattr("analysis.telling.style.png_bytes", lambda figure, dpi: figure.draw_without_rendering() or b"")


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_shape(path):
    cells = cells_of(path)
    code = [c for c in cells if c["cell_type"] == "code"]
    assert len(cells) <= 30
    assert all(not c["outputs"] and c["execution_count"] is None for c in code)
    lines = sorted(len(source(c).splitlines()) for c in code)
    assert lines[-1] <= 12 and lines[len(lines) // 2] <= 4
    ids = [c["id"] for c in cells]
    assert len(set(ids)) == len(ids)
    first = source(cells[0]).lower()
    assert cells[0]["cell_type"] == "markdown" and "question" in first and "need" in first and "minutes" in first
    assert "next" in source(cells[-1]).lower()


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_no_statistic_is_computed_in_a_notebook(path):
    code = [source(c) for c in cells_of(path) if c["cell_type"] == "code"]
    text = "\n".join(s for s in code if "look(" not in s)  # that cell is the reader's own
    assert not re.search(r"^\s*(import|from)\s+(scipy|statsmodels|pingouin|numpy)\b", text, re.M)
    assert not re.search(r"\.(mean|std|corr|groupby|quantile)\(", text)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_links_lead_to_notebooks_that_exist_and_to_their_term(path):
    names = {p.name for p in NOTEBOOKS}
    start = "\n".join(source(c) for c in cells_of(NOTEBOOKS[0]) if c["cell_type"] == "markdown")
    terms = {h.strip().replace(" ", "-") for h in re.findall(r"^#+ (.+)$", start, re.M)}
    for cell in cells_of(path):
        for target, term in re.findall(r"\]\(([\w/]*(?:\.ipynb)?)(?:#([^)]+))?\)", source(cell)):
            assert not target.endswith(".ipynb") or target in names, target
            assert not term or term in terms, term


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_one_import_line_and_code_put_away(path):
    code = [c for c in cells_of(path) if c["cell_type"] == "code"]
    imports = [line for c in code for line in source(c).splitlines() if re.match(r"\s*(from|import) ", line)]
    assert imports == ["from analysis.notebook import *"]
    shown = [c for c in code if not c["metadata"].get("jupyter", {}).get("source_hidden")]
    assert len(shown) == 1 and source(shown[0]).count("look(") == 1
    assert "next_step" in source(code[-1])


@pytest.mark.parametrize(("path", "kind"), PAIRS, ids=lambda x: x.stem if isinstance(x, Path) else x)
def test_runs_on_a_folder_that_is_not_the_demo(
    path, kind, half_filled_answers, opened, fewer_studies, no_pixels, monkeypatch, tmp_path, capsys
):
    """In this process and with warnings as errors; whole runs on kernels are in the report's tests."""

    def keep(folder, seed):
        folder = Path(folder).resolve()
        return opened.setdefault(folder, opened.get(folder) or Answers.from_folder(folder, seed=seed))

    monkeypatch.setattr("analysis.answers.walk.kept_answers", keep)
    monkeypatch.setenv("STUDY_FOLDER", str(half_filled_answers[kind].study.folder))
    monkeypatch.chdir(tmp_path)
    names: dict = {"__name__": "notebook"}
    for number, cell in enumerate(cells_of(path)):
        if cell["cell_type"] == "code":
            try:
                exec(compile(source(cell), f"{path.name}, cell {number}", "exec"), names)
            except Exception as error:
                raise AssertionError(
                    f"{path.name}, cell {number}, on {kind}: {type(error).__name__}: {error}"
                ) from error


@pytest.mark.parametrize("kind", KINDS)
def test_without_a_survey_or_a_training_study_those_of_the_demo_are_opened(kind, half_filled_answers, monkeypatch):
    monkeypatch.setenv("STUDY_FOLDER", str(half_filled_answers[kind].study.folder))
    assert open_survey().study.folder == DEMO_FOLDER / "survey"
    assert open_training().study.folder == DEMO_FOLDER / "training"
