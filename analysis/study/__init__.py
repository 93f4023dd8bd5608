"""A study folder, read and checked: protocol, tables, decisions, the fixed plan, the ledger, privacy.

In: a folder with study.toml and tables as CSV or one workbook. Out: a `Study`, or a `StudyError` with every problem.
Knows nothing of statistics and opens no recording.
"""

from .columns import TABLES, Column, column_rules, describe_columns, empty_table, table_columns
from .ledger import LEDGER_COLUMNS, Ledger
from .model import SCALES, Protocol, Study
from .outcomes import OUTCOMES, Outcome, outcome_named
from .plan import DIRECTIONS, QUESTIONS, Hypothesis, Plan
from .problems import PROBLEM_COLUMNS, Problem, StudyError, describe_problem, problem_table

__all__ = [
    "DIRECTIONS",
    "LEDGER_COLUMNS",
    "OUTCOMES",
    "PROBLEM_COLUMNS",
    "QUESTIONS",
    "SCALES",
    "TABLES",
    "Column",
    "Hypothesis",
    "Ledger",
    "Outcome",
    "Plan",
    "Problem",
    "Protocol",
    "Study",
    "StudyError",
    "column_rules",
    "describe_columns",
    "describe_problem",
    "empty_table",
    "outcome_named",
    "problem_table",
    "table_columns",
]
