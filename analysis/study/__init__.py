"""A study folder, read and checked: protocol, tables, decisions, the fixed plan, the ledger, privacy.

In: a folder with study.toml and tables as CSV or one workbook. Out: a `Study`, or a `StudyError` with every problem.
Knows nothing of statistics and opens no recording.
"""

from .binding import QuestionStatus, planned, question_statuses, result_status
from .check import CheckReport, check_study, list_needs, propose_decisions_for
from .columns import TABLES, Column, column_rules, describe_columns
from .decisions import LEDGER_COLUMNS, Ledger
from .deviations import plan_deviations
from .fixed_plan import FixedPlan, PlanDocument, freeze_plan
from .load import load_study
from .looks import LookState, look_state, note_look
from .model import Study
from .new_folder import new_study, sheet_columns
from .outcomes import OUTCOMES, QUESTIONS, Outcome, known_outcome, outcome_named, topics, typed_outcomes
from .plan import DIRECTIONS, Hypothesis, Plan
from .problems import PROBLEM_COLUMNS, Problem, StudyError
from .protocol import SCALES, Protocol
from .training import DESIGNS, TrainingDesign

__all__ = [
    "DESIGNS",
    "DIRECTIONS",
    "LEDGER_COLUMNS",
    "OUTCOMES",
    "PROBLEM_COLUMNS",
    "QUESTIONS",
    "SCALES",
    "TABLES",
    "CheckReport",
    "Column",
    "FixedPlan",
    "Hypothesis",
    "Ledger",
    "LookState",
    "Outcome",
    "Plan",
    "PlanDocument",
    "Problem",
    "Protocol",
    "QuestionStatus",
    "Study",
    "StudyError",
    "TrainingDesign",
    "check_study",
    "column_rules",
    "describe_columns",
    "freeze_plan",
    "known_outcome",
    "list_needs",
    "load_study",
    "look_state",
    "new_study",
    "note_look",
    "outcome_named",
    "plan_deviations",
    "planned",
    "propose_decisions_for",
    "question_statuses",
    "result_status",
    "sheet_columns",
    "topics",
    "typed_outcomes",
]
