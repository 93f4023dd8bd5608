"""The ledger: what became of every row, value and second. In = used + set aside, for every table."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import pandas as pd

from ..basics import Result

LEDGER_TYPES = {
    "table": "str",
    "file": "str",
    "row": "Int64",
    "session": "str",
    "athlete": "str",
    "round_no": "Int64",
    "measure": "str",
    "amount": "float64",
    "unit": "str",
    "used": "bool",
    "cause": "str",
    "decided_by": "str",
}
LEDGER_COLUMNS = tuple(LEDGER_TYPES)
"""The columns of the ledger."""


def _ledger_table(rows: Iterable[Mapping]) -> pd.DataFrame:
    blank = {
        "row": None,
        "round_no": None,
        "amount": 1.0,
        "unit": "rows",
        "used": True,
        "decided_by": "rule",
    }
    lines = [[row.get(c, blank.get(c, "")) for c in LEDGER_COLUMNS] for row in rows]
    table = pd.DataFrame(lines, columns=list(LEDGER_COLUMNS))
    for whole in ("row", "round_no"):
        table[whole] = pd.array(
            [None if pd.isna(v) or v == "" else int(v) for v in table[whole]], dtype="Int64"
        )
    return table.astype(LEDGER_TYPES)


@dataclass(frozen=True)
class Ledger(Result):
    """What became of every row, value and second.

    Parameters
    ----------
    table : pandas.DataFrame
        table, file, row, session, athlete, round_no, measure ("" for a whole row), amount, unit ("rows", "values" or
        "s"), used, cause ("" where simply used), decided_by ("rule", or who wrote the decision). An entry with
        amount 0 documents a change (such as a replaced value) and counts nothing.

    Notes
    -----
    A person who withdraws leaves a count without a code: entries without file, row and athlete.
    """

    table: pd.DataFrame = field(default_factory=lambda: _ledger_table(()))

    def add(self, rows: Iterable[Mapping] | pd.DataFrame) -> Ledger:
        """Return a new ledger with these entries at its end.

        Parameters
        ----------
        rows : iterable of mapping, or DataFrame
            Entries; missing columns are filled (amount 1, unit "rows", used, decided_by "rule").

        Returns
        -------
        Ledger

        Examples
        --------
        >>> ledger = Ledger().add([{"table": "rounds", "used": False, "cause": "no consent"}])
        >>> int(ledger.balance().loc[0, "set_aside"])
        1
        """
        if isinstance(rows, pd.DataFrame):
            rows = rows.to_dict("records")
        more = _ledger_table(rows)
        if not len(more):
            return self
        if not len(self.table):
            return Ledger(more)
        return Ledger(pd.concat([self.table, more], ignore_index=True))

    def balance(self) -> pd.DataFrame:
        """Return what went in, what was used and what was set aside, per table, measure and unit.

        Returns
        -------
        pandas.DataFrame
            table, measure, unit, rows_in, used, set_aside, causes (cause: amount; ...).

        Examples
        --------
        >>> list(Ledger().balance().columns)
        ['table', 'measure', 'unit', 'rows_in', 'used', 'set_aside', 'causes']
        """
        lines = []
        counted = self.table[self.table["amount"] > 0]
        for key, group in counted.groupby(["table", "measure", "unit"], sort=False):
            aside = group[~group["used"]]
            by_cause = aside.groupby("cause", sort=False)["amount"].sum()
            used = float(group.loc[group["used"], "amount"].sum())
            out = float(aside["amount"].sum())
            causes = "; ".join(f"{cause}: {amount:g}" for cause, amount in by_cause.items())
            lines.append((*key, used + out, used, out, causes))
        names = ["table", "measure", "unit", "rows_in", "used", "set_aside", "causes"]
        return pd.DataFrame(lines, columns=names)

    def set_aside(self) -> pd.DataFrame:
        """Return the entries that were not used.

        Returns
        -------
        pandas.DataFrame

        Examples
        --------
        >>> len(Ledger().set_aside())
        0
        """
        return self.table[~self.table["used"]].reset_index(drop=True)
