"""Small results of the mixed models, whose fields are also found by name in brackets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

from ..basics import Result


class ByName(Mapping):
    """Fields of a dataclass also by name in brackets."""

    def __getitem__(self, name):
        if name in self.__dataclass_fields__:
            return getattr(self, name)
        raise KeyError(name)

    def __iter__(self):
        return (f.name for f in fields(self))

    def __len__(self):
        return len(fields(self))


@dataclass(frozen=True)
class Variances(ByName, Result):
    """Variance components; those that the model does not have are not-a-number.

    Parameters
    ----------
    group : float
        Between athletes (of the intercepts where there are slopes).
    slope : float
        Of the slopes of athletes.
    covariance : float
        Between intercepts and slopes.
    residual : float
        Within athletes.
    crossed : float
        Of the crossed grouping (their sum where there are several).
    """

    group: float
    slope: float
    covariance: float
    residual: float
    crossed: float


@dataclass(frozen=True)
class TermTest(ByName, Result):
    """Type III test of one term.

    Parameters
    ----------
    term : str
        As in the formula.
    statistic : float
        F.
    df_num, df_den : float
        Degrees of freedom.
    p : float
    method : str
        In words.
    """

    term: str
    statistic: float
    df_num: float
    df_den: float
    p: float
    method: str
