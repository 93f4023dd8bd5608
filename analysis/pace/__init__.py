"""What athletes did in a round, second by second: the page for a rater, raters' agreement, activity beside heart rate.

In: a `Study` with the table `pace`, and a `CleanedStudy` for rounds and heart rate on one clock. Out: `PaceAnswer`, and the page
as one file. Activity is an outcome beside heart rate and may lie on the way from fitness to it: it is never adjusted away here.
"""

from .answer import answer_pace
from .marks import list_pace_problems, pace_words, write_pace_page

__all__ = ["answer_pace", "list_pace_problems", "pace_words", "write_pace_page"]
