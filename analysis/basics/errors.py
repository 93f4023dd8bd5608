"""Errors of our own, and the one helper for "this is not among the allowed values"."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class KitError(ValueError):
    """Bad input, in words a club understands: what is wrong, where, and the remedy."""


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
