"""What every room shares: errors, the result base class, and the one formatter of numbers.

In: plain values and tables. Out: the same values as a result that shows well, or as text.
Knows nothing of sport, statistics or files; imports no other room.
"""

from .errors import KitError, check_choice, check_number, did_you_mean
from .few import FEWEST_PEOPLE, rounded
from .results import ESTIMATE_COLUMNS, LEFT_OUT_COLUMNS, NotYet, Result, if_answered, left_out_table
from .words import format_ci, format_number, format_p, format_percent, join_words, lower_first, plural, upper_first

__all__ = [
    "ESTIMATE_COLUMNS", "FEWEST_PEOPLE", "LEFT_OUT_COLUMNS", "KitError", "NotYet", "Result", "check_choice",
    "check_number", "did_you_mean", "format_ci", "format_number", "format_p", "format_percent", "if_answered",
    "join_words", "left_out_table", "lower_first", "plural", "rounded", "upper_first",
]  # fmt: skip
