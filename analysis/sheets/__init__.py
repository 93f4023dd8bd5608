"""Sheets for the evening and the day of the fitness test, to be printed and filled in by hand: HTML and PDF.

In: a protocol (or a Study), codes, a pairing and a timetable. Out: `Sheet`s, and files. Codes only: the list that ties codes
to people is made separately and never written into a study folder.
"""

from .content import list_materials, write_code_list
from .other_days import fitness_sheets, training_sheets
from .write import fill_tables, plan_evening, preview_sheets, write_sheets, write_texts

__all__ = [
    "fill_tables",
    "fitness_sheets",
    "list_materials",
    "plan_evening",
    "preview_sheets",
    "training_sheets",
    "write_code_list",
    "write_sheets",
    "write_texts",
]
