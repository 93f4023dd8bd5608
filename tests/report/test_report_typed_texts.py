"""Free texts that leave the club are listed for a person to read, since a rare name at the start of a sentence passes."""

from types import SimpleNamespace

import pandas as pd

from analysis.report.sharing import FREE_TEXT, Codes, texts_that_leave, typed_texts
from analysis.study.privacy import Mentions
from analysis.telling.document import Document, Paragraph, Section, Table


def typed_study():
    tables = {name: pd.DataFrame({c: [] for c in columns}, dtype=str) for name, columns in FREE_TEXT.items()}
    tables["decisions"] = pd.DataFrame(
        {"reason": ["Quorvin left early.", "A07 felt ill", "never shown anywhere", "12"], "new_value": ""}
    )
    tables["athletes"] = pd.DataFrame({"club": ["", ""], "group": ["novice", "novice"]})
    tables["published"] = pd.DataFrame({"finding": ["a club report"], "source": ["not shown"]})
    plan = SimpleNamespace(
        exclusions=("athletes with a cold",), hypotheses=(), smallest_effect_reasons={"x": "a guess"}
    )
    return SimpleNamespace(title="An evening", sport="", plan=plan, **tables)


def test_only_texts_that_stand_in_the_write_up_are_listed_as_they_stand_there():
    study = typed_study()
    assert typed_texts(study)["Quorvin left early."] and not typed_texts(study)["An evening"]
    codes = Codes.__new__(Codes)
    codes.labels, codes._mentions, codes._personal = {"A07": "person-3"}, Mentions(["A07"]), None
    codes._numbered = None
    told = pd.DataFrame({"Why": ["quorvin left early", "person-3 felt ill", "12"]})
    section = Section(
        "Data",
        (Paragraph("The novice fighters, as in a club report."), Table("aside", "Set aside.", told)),
        1,
        "supplement",
    )
    found = texts_that_leave(study, codes, Document("An evening", sections=(section,)))
    assert set(found) == {"Quorvin left early", "person-3 felt ill", "An evening", "novice", "a club report"}
