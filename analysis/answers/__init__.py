"""The walk from a study folder to every answer that it can give, each computed once.

In: a study folder (or a `Study`). Out: `Answers`, whose parts are the result objects of the rooms above, or a
`NotYet` that says what the study still needs. Notebooks, figures and the write-up all take these same objects.
"""

from .walk import DEMO_FOLDER, Answers, open_answers, open_survey, open_training

__all__ = ["DEMO_FOLDER", "Answers", "open_answers", "open_survey", "open_training"]
