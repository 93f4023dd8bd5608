"""The base of every result: a frozen dataclass of plain values and tidy tables that shows well."""

from __future__ import annotations

import functools
import html
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields

ESTIMATE_COLUMNS = (
    "estimate", "standard_error", "ci_low", "ci_high", "statistic", "df", "df_num", "df_den", "p", "p_adjusted",
    "n_athletes", "n_observations", "method",
)  # fmt: skip
"""The columns of estimates, the same in every table of the kit (a table has those that apply)."""

LEFT_OUT_COLUMNS = ("file", "row", "session", "athlete", "round_no", "measure", "reason", "decided_by")
"""The columns of every `left_out` table: one line per row that was not used."""


def left_out_table(rows: Iterable[Mapping] = ()):
    """Build a `left_out` table from dictionaries; missing columns are filled with "".

    Parameters
    ----------
    rows : iterable of mapping
        Each with at least a "reason"; "decided_by" defaults to "rule".

    Returns
    -------
    pandas.DataFrame
        With the columns LEFT_OUT_COLUMNS.

    Examples
    --------
    >>> left_out_table([{"athlete": "A07", "reason": "no aerobic test"}]).loc[0, "decided_by"]
    'rule'
    """
    import pandas as pd

    filled = [{"decided_by": "rule", **dict(row)} for row in rows]
    return pd.DataFrame(
        [{c: row.get(c, "") for c in LEFT_OUT_COLUMNS} for row in filled], columns=list(LEFT_OUT_COLUMNS)
    )


@dataclass(frozen=True)
class Result:
    """Base of the results: prints as a short table, shows as HTML in a notebook.

    Subclasses are frozen dataclasses of floats, strings, tuples and DataFrames, never rounded. Three fields mean the same in
    all of them: `method` says in words what was done, `left_out` lists every row without use with its reason, and `warnings`
    holds what a reader must know.
    """

    def __getitem__(self, name: str):
        """Return a field by its name, as from a table."""
        if name not in {f.name for f in fields(self)}:
            raise KeyError(name)
        return getattr(self, name)

    def _scalars(self) -> dict:
        import pandas as pd

        return {
            f.name: getattr(self, f.name)
            for f in fields(self)
            if not isinstance(getattr(self, f.name), pd.DataFrame | Result | dict)
        }

    def _tables(self) -> dict:
        import pandas as pd

        return {f.name: getattr(self, f.name) for f in fields(self) if isinstance(getattr(self, f.name), pd.DataFrame)}

    def __str__(self) -> str:
        lines = [type(self).__name__]
        lines += [f"  {k}: {v}" for k, v in self._scalars().items() if not _is_empty(v)]
        lines += [f"  {k}: table of {len(t)} rows" for k, t in self._tables().items()]
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        shown = {k: v for k, v in self._scalars().items() if not _is_empty(v)}
        rows = "".join(f"<tr><th>{html.escape(k)}</th><td>{html.escape(_brief(v))}</td></tr>" for k, v in shown.items())
        parts = [f"<table>{rows}</table>"] if rows else []
        for name, table in self._tables().items():
            if len(table):
                shown_table = table.to_html(index=False, float_format=lambda x: f"{x:.4g}", na_rep="")
                parts.append(f"<p><b>{html.escape(name.replace('_', ' '))}</b></p>{shown_table}")
        return "".join(parts)


@dataclass(frozen=True)
class NotYet(Result):
    """What a question returns while the study lacks what it needs.

    Parameters
    ----------
    question : str
        The question, in plain words.
    needs : str
        What is missing and where it goes, for example "an aerobic test per athlete in aerobic_tests.csv".
    """

    question: str
    needs: str

    def __bool__(self) -> bool:
        return False

    def __str__(self) -> str:
        return f"Not yet: {self.question} needs {self.needs}."

    def _repr_html_(self) -> str:
        return f"<p><i>{html.escape(str(self))}</i></p>"


IN_PLACE = {
    "words": str,
    "paragraphs": lambda missing: [str(missing)],
    "no paragraphs": lambda missing: [],
    "no text": lambda missing: "",
    "no table": lambda missing: None,
}
"""What a function that tells of a result gives where there is none yet."""


def if_answered(otherwise: str = "words"):
    """Make a function that tells of a result cope with `NotYet`; the one place that does.

    Parameters
    ----------
    otherwise : {"words", "paragraphs", "no paragraphs", "no text", "no table"}
        What it gives instead: what is missing, as text or as a list of paragraphs; or nothing of its kind.

    Returns
    -------
    callable
        To decorate a function whose first argument is the result.

    Examples
    --------
    >>> @if_answered()
    ... def plain(answer):
    ...     return f"{answer} bpm"
    >>> plain(5), plain(NotYet("heart rate over the rounds", "recordings"))
    ('5 bpm', 'Not yet: heart rate over the rounds needs recordings.')
    """
    instead = IN_PLACE[otherwise]

    def decorate(tell):
        @functools.wraps(tell)
        def told(result, *args, **options):
            return instead(result) if isinstance(result, NotYet) else tell(result, *args, **options)

        return told

    return decorate


def _is_empty(value) -> bool:
    return value is None or (hasattr(value, "__len__") and len(value) == 0)


def _brief(value) -> str:
    if isinstance(value, float):
        return f"{value:.5g}"
    if isinstance(value, tuple | list):
        return "; ".join(_brief(v) for v in value)
    return str(value)
