"""What do sessions sent in by other people show?

In: a table of submitted sessions (and their recordings). Out: `SurveyAnswer`: person-level intensity, with the error of
predicted maximal heart rates carried to every count and curve. Knows nothing of the rounds of a study.
"""

from .answer import SurveyAnswer, answer_survey
from .tables import survey_choices

__all__ = [
    "SurveyAnswer",
    "answer_survey",
    "survey_choices",
]
