"""What do sessions sent in by other people show?

In: a table of submitted sessions (and their recordings). Out: `SurveyAnswer`: person-level intensity, with the error of
predicted maximal heart rates carried to every count and curve. Knows nothing of the rounds of a study.
"""

from .answer import answer_survey

__all__ = ["answer_survey"]
