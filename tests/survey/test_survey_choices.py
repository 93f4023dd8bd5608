"""What the part [survey] of study.toml may choose."""

import inspect
import re
import tomllib

import pytest

from analysis.answers import Answers
from analysis.basics import KitError
from analysis.study import load_study
from analysis.study.new_folder import new_study
from analysis.survey import answer_survey
from analysis.survey.tables import survey_choices


def test_nothing_chosen_leaves_the_defaults():
    assert survey_choices(None) == survey_choices({"title": "x"}) == survey_choices({"survey": {}}) == {}


def test_every_fault_is_named_at_once():
    part = {"equation": "nes_2031", "session_kinds": ["sparing"], "plausible_ages": [55, 18], "colour": 1}
    with pytest.raises(KitError) as caught:
        survey_choices({"survey": part})
    words = str(caught.value)
    for hint in ("Did you mean nes_2013?", "Did you mean sparring?", "plausible_ages must", "colour is not"):
        assert hint in words
    for wrong in ({"session_kinds": "sparring"}, {"session_kinds": []}, {"plausible_ages": ["18", 55]}):
        with pytest.raises(KitError, match=next(iter(wrong))):
            survey_choices({"survey": wrong})
    with pytest.raises(KitError, match="line of its own"):
        survey_choices({"survey": 3})


def test_the_template_shows_the_defaults(tmp_path):
    folder = new_study(tmp_path / "asked", survey=True)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    shown = re.sub(r"(?m)^# ", "", text[text.index("# [survey]") :])
    defaults = {n: p.default for n, p in inspect.signature(answer_survey).parameters.items()}
    chosen = survey_choices(tomllib.loads(shown))
    assert set(chosen) == {"equation", "session_kinds", "plausible_ages"}
    assert chosen == {name: defaults[name] for name in chosen}


def test_a_choice_reaches_the_answer(tmp_path):
    folder = new_study(tmp_path / "asked", survey=True)
    with (folder / "study.toml").open("a", encoding="utf-8") as file:
        file.write('[survey]\nequation = "tanaka_2001"\nplausible_ages = [20, 40]\n')
    rows = [f"p{i},{'' if i == 9 else 20 + i},{130 + i},{180 + i % 5},60,sparring" for i in range(10)]
    (folder / "survey.csv").write_text(
        "person,age_years,hr_mean_bpm,hr_peak_bpm,minutes,session_kind\n" + "\n".join(rows) + "\n"
    )
    answer = Answers(load_study(folder)).survey()
    assert answer.equation == "tanaka_2001" and answer.plausible_ages == (20.0, 40.0)
