"""Turn recordings into one honest row per session, athlete and round.

In: a `Study` and its recordings. Out: flagged samples, aligned clocks, round windows, one row per round, and every
second and row in the ledger as used or set aside. Flags, never deletes. Computes no statistics of the study.
"""

from .clean import clean_study, summarise_rounds
from .explore import try_rules
from .find import find_rounds
from .flags import CleaningRules, flag_artefacts

__all__ = [
    "CleaningRules", "clean_study", "find_rounds", "flag_artefacts", "summarise_rounds", "try_rules",
]  # fmt: skip
