"""What a notebook calls, in one line: ``from analysis.notebook import *``.

In: results and functions that tell them. Out: what a reader of the notebook sees. Nothing here computes a statistic; rooms
(`planning`, `sheets`, `report` ...) and what is told (`say`, `draw`) are opened when first used.
"""

from ..answers import open_answers, open_survey, open_training
from ..basics import NotYet
from .face import draw, pace, pg, physiology, planning, report, say, sheets, sliders, sns, study, training
from .showing import look, show

__all__ = [
    "NotYet", "draw", "look", "open_answers", "open_survey", "open_training", "pace", "pg", "physiology", "planning", "report",
    "say", "sheets", "show", "sliders", "sns", "study", "training",
]  # fmt: skip
