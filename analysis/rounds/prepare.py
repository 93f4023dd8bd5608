"""From a table of rounds to what can be analysed: order of the rounds, what is left out and why."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from ..basics import Result


@dataclass(frozen=True)
class RoundRows(Result):
    """The rows of one outcome, in order, with everything that was set aside.

    Parameters
    ----------
    outcome : str
        The column.
    labels : tuple of str
        The tested rounds, in order.
    table : DataFrame
        Tested rows with a value: athlete, round_no (ordered categorical of labels), value, and the columns kept.
    before : DataFrame
        Rows of round 0 (before sparring) with a value: shown, never tested.
    wide : DataFrame
        Athlete by round, missing where there is no value.
    left_out : DataFrame
        Every row without use, with its reason.
    warnings : tuple of str
        What was assumed.
    """

    outcome: str
    labels: tuple[str, ...]
    table: pd.DataFrame
    before: pd.DataFrame
    wide: pd.DataFrame
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def prepare_rounds(data, outcome: str, *, keep=(), round_variable: str = "round_no") -> RoundRows:
    """Check a table of rounds and put it in order.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no` and the outcome.
    outcome : str
        A numeric column.
    keep : sequence of str
        Further columns to carry along.
    round_variable : str
        The column that orders the rounds.

    Returns
    -------
    RoundRows
    """
    raise NotImplementedError
