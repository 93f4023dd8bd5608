"""Errors of our own, and the one helper for "this is not among the allowed values"."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable
from numbers import Real
from pathlib import Path


class KitError(ValueError):
    """Bad input, in words a club understands: what is wrong, where, and the remedy."""


def expand_home(path) -> Path:
    """Return a path with ~ as the user's own folder; one that names no user of this computer stays as it is."""
    try:
        return Path(path).expanduser()
    except RuntimeError:
        return Path(path)


def did_you_mean(value: str, allowed: Iterable[str]) -> str:
    """Return the closest allowed name, or an empty string where none is close.

    Parameters
    ----------
    value : str
        What was given.
    allowed : iterable of str
        The names that exist.

    Returns
    -------
    str
        The closest name, or "".

    Examples
    --------
    >>> did_you_mean("lactat_mmol_l", ["exertion", "lactate_mmol_l"])
    'lactate_mmol_l'
    """
    names = {str(a).casefold(): str(a) for a in allowed}
    close = difflib.get_close_matches(str(value).casefold(), list(names), n=1, cutoff=0.6)
    return names[close[0]] if close else ""


def check_choice(value, allowed: Iterable, *, name: str):
    """Return `value` where it is among `allowed`, else raise a KitError that names the remedy.

    Parameters
    ----------
    value : object
        What was given.
    allowed : iterable
        The values that are possible.
    name : str
        The name of the argument, for the message.

    Returns
    -------
    object
        `value`, unchanged.

    Raises
    ------
    KitError
        With the allowed values and, where there is one, the closest.

    Examples
    --------
    >>> check_choice("pearson", ["pearson", "spearman"], name="method")
    'pearson'
    """
    allowed = list(allowed)
    if value in allowed:
        return value
    near = did_you_mean(str(value), [str(a) for a in allowed])
    hint = f" Did you mean {near!r}?" if near else ""
    raise KitError(f"{name} is {value!r}, but must be one of {', '.join(map(repr, allowed))}.{hint}")


def check_number(
    value, *, name: str, low: float = -math.inf, high: float = math.inf, ends: bool = False, whole: bool = False
):
    """Return `value` as a number where it is one and lies in its range, else raise a KitError that says the range.

    Parameters
    ----------
    value : object
        What was given.
    name : str
        The name of the argument, for the message.
    low, high : float
        The range. Default without limits; the number must still be finite.
    ends : bool
        Whether low and high themselves are allowed. Default False.
    whole : bool
        Whether it must be a whole number. Default False.

    Returns
    -------
    float or int
        An int where `whole` is True.

    Raises
    ------
    KitError
        For text, truth values, missing and infinite values, and numbers outside the range.

    Examples
    --------
    >>> check_number(0.95, name="level", low=0, high=1), check_number(12.0, name="n", low=3, ends=True, whole=True)
    (0.95, 12)
    """
    number = float(value) if isinstance(value, Real) and type(value).__name__ not in ("bool", "bool_") else math.nan
    inside = low <= number <= high if ends else low < number < high
    if math.isfinite(number) and inside and (not whole or number == int(number)):
        return int(number) if whole else number
    kind = "a whole number" if whole else "a number"
    between = f" from {low:g} to {high:g}" if ends else f" between {low:g} and {high:g}"
    if math.isinf(high):
        between = "" if math.isinf(low) else f", {low:g} or more" if ends else f" above {low:g}"
    elif math.isinf(low):
        between = f" of at most {high:g}" if ends else f" below {high:g}"
    raise KitError(f"{name} is {value!r}, but must be {kind}{between}.")


def need_columns(data, columns: Iterable[str], *, what: str = "The table") -> None:
    """Raise a KitError where `data` is no table or lacks columns, with the nearest names there are."""
    import pandas as pd

    if not isinstance(data, pd.DataFrame):
        raise KitError(f"{what} must be a table (DataFrame), not {type(data).__name__}.")
    there = [str(c) for c in data.columns]
    missing = [str(c) for c in dict.fromkeys(columns) if c not in data]
    near = [repr(n) for c in missing if (n := did_you_mean(c, there))]
    hint = f" Did you mean {', '.join(near)}?" if near else ""
    if missing:
        words = ", ".join(map(repr, missing))
        raise KitError(f"{what} has no column {words}.{hint} It has: {', '.join(there) or 'none'}.")
