"""A study folder, read and checked: protocol, tables, decisions, the fixed plan, the ledger, privacy.

In: a folder with study.toml and tables as CSV or one workbook. Out: a `Study`, or a `StudyError` with every problem.
Knows nothing of statistics and opens no recording.
"""

from .binding import planned, result_status
from .check import check_study, list_needs, propose_decisions_for
from .columns import TABLES, describe_columns
from .fixed_plan import freeze_plan
from .load import load_study
from .model import Study
from .new_folder import new_study
from .outcomes import OUTCOMES, Outcome, known_outcome, outcome_named, topics, typed_outcomes
from .plan import Plan
from .problems import Problem, StudyError
from .settings import Protocol

__all__ = [
    "OUTCOMES", "TABLES", "Outcome", "Plan", "Problem", "Protocol", "Study", "StudyError", "check_study",
    "describe_columns", "freeze_plan", "known_outcome", "list_needs", "load_study", "new_study", "outcome_named",
    "planned", "propose_decisions_for", "result_status", "topics", "typed_outcomes",
]  # fmt: skip
