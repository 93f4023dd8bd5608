"""The one import line: every name that a notebook takes from it is there, once, in one topic."""

import json
import re
from pathlib import Path

import pytest

import analysis.notebook as face
from analysis.notebook.face import Room, Told

NOTEBOOKS = sorted((Path(__file__).resolve().parents[2] / "notebooks").glob("*.ipynb"))
NAMES = {
    (name, attribute)
    for path in NOTEBOOKS
    for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]
    if cell["cell_type"] == "code"
    for name, attribute in re.findall(r"(?<![\w.])([a-z]+)\.(\w+)", re.sub(r'f?"[^"]*"', '""', "".join(cell["source"])))
    if isinstance(getattr(face, name, None), Room | Told) and attribute != "toml"
}


@pytest.mark.parametrize(("name", "attribute"), sorted(NAMES))
def test_a_name_in_a_notebook_is_told_once(name, attribute):
    assert callable(getattr(getattr(face, name), attribute)) or attribute == "READ_ME"


@pytest.mark.parametrize("told", [face.say, face.draw], ids=["say", "draw"])
def test_no_two_topics_tell_under_one_name(told):
    assert len(names := dir(told)) == len(set(names)) > 40


def test_there_are_names_and_a_wrong_one_is_named():
    assert len(NAMES) > 80 and "plain_rounds" in dir(face.say) and "draw_rounds" in dir(face.draw)
    with pytest.raises(AttributeError, match="nothing is told under the name plain_nothing"):
        _ = face.say.plain_nothing


def test_what_is_looked_at_says_why_it_does_not_work(capsys):
    import pandas as pd

    shown = []
    face.look(pd.DataFrame({"a": [1.0, 2.0]}), lambda frame: shown.append(len(frame)), lambda frame: frame["b"])
    assert shown == [2]
    face.look(face.NotYet("a question", "a table"), lambda frame: shown.append(0))
    assert shown == [2]


def test_a_next_step_is_a_link_and_a_study_makes_none():
    from analysis.notebook.showing import harmless

    link = "**Next for this study:** [02 Run the day](02_run_the_day.ipynb)."
    assert harmless(link) == link
    assert harmless("see [here](https://example.org) <b>") == "see \\[here](https://example.org) &lt;b&gt;"
