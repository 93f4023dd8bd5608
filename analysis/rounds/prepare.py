"""From a table of rounds to what can be analysed: order of the rounds, what is left out and why."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice, join_words, left_out_table, plural
from ..basics.errors import need_columns

NOT_FOUGHT = {"sat_out": "sat the round out", "left": "had left"}
LIMIT_COLUMN = "lactate_limit"
"""Where "high" and "low" stand for values off the analyser's scale."""
OWN_END = "lactate_bound_mmol_l"
"""The limit that was typed, such as 2 for < 2; blank where HI or LO stands for the end of the scale."""
FARTHEST = 1e50
"""Values this large, or all smaller than its inverse, cannot be computed with, and are no measurements."""
KINDS = ("successive", "first", "pairwise")


@dataclass(frozen=True)
class RoundRows(Result):
    """The rows of one outcome, in order, with everything that was set aside."""

    outcome: str  # the column
    labels: tuple[str, ...]  # the tested rounds, in order
    table: pd.DataFrame
    before: pd.DataFrame  # rows of round 0 (before sparring) with a value: shown, never tested
    wide: pd.DataFrame  # athlete by round, missing where there is no value
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()  # what was assumed

    @property
    def n_athletes(self) -> int:
        """Athletes with at least one tested value."""
        return len(self.wide)

    @property
    def n_observations(self) -> int:
        """Tested values."""
        return len(self.table)

    def complete(self) -> pd.DataFrame:
        """Athlete by round, only athletes with every round."""
        return self.wide.dropna()

    def without_incomplete(self) -> pd.DataFrame:
        """The `left_out` table with the athletes that a complete-case analysis drops."""
        dropped = self.wide[self.wide.isna().any(axis=1)]
        rows = []
        for athlete, values in dropped.iterrows():
            missing = [label for label in self.labels if np.isnan(values[label])]
            word = "round" if len(missing) == 1 else "rounds"
            for label in self.labels:
                if label not in missing:
                    reason = f"dropped from the complete cases: {word} {join_words(missing)} missing"
                    rows.append({"athlete": athlete, "round_no": label, "measure": self.outcome, "reason": reason})
        return pd.concat([self.left_out, left_out_table(rows)], ignore_index=True) if rows else self.left_out


def prepare_rounds(
    data: pd.DataFrame, outcome: str, *, keep: Sequence[str] = (), round_variable: str = "round_no"
) -> RoundRows:
    """Check a table of rounds and put it in order."""
    # Rounds that are numbers, or texts that differ only in a number ("R2", "R10"), are put in the order of
    # the numbers; a categorical column keeps its order; other texts are put by the alphabet, with a
    # warning. Round 0 is before sparring and never tested. Rounds sat out are no rounds of that athlete.
    need_columns(data, ("athlete", round_variable, outcome, *keep))
    if "session" in data and len(set(data["session"].astype(str))) > 1:
        sessions = sorted(data["session"].astype(str).unique())
        raise KitError(
            f"The table holds {len(sessions)} sessions ({join_words(sessions)}); rounds are compared within one. "
            "Keep one session, or use reliability() to compare evenings."
        )
    work = pd.DataFrame({"athlete": data["athlete"].astype(str).to_numpy()})
    work["value"] = read_numbers(data, outcome)
    labels, codes, warnings = order_rounds(data[round_variable])
    work["code"] = codes
    for name in ("file", "row", "session", *keep):
        if name in data:
            work[name] = data[name].to_numpy()
    took_part = data["took_part"].astype(str).to_numpy() if "took_part" in data else np.full(len(data), "yes")

    before_code = labels.index("0") if "0" in labels else -1
    reason = np.full(len(work), "", dtype=object)
    reason[np.isnan(work["value"].to_numpy())] = "no value"
    for word, sentence in NOT_FOUGHT.items():
        reason[took_part == word] = sentence
    reason[codes < 0] = "no round number"
    reason[data["athlete"].isna().to_numpy() | (work["athlete"] == "").to_numpy()] = "no athlete"
    used = reason == ""
    left_out = _left_out(work, reason, labels, outcome)

    _check_repeats(work[used], labels, outcome)
    before = work[used & (codes == before_code)].drop(columns="code").reset_index(drop=True)
    tested = work[used & (codes != before_code)]
    present = [label for i, label in enumerate(labels) if i != before_code and (tested["code"] == i).any()]
    empty = [label for i, label in enumerate(labels) if i != before_code and label not in present]
    if empty:
        word = "Round" if len(empty) == 1 else "Rounds"
        warnings.append(f"{word} {join_words(empty)} held no value of {outcome} and could not be compared.")
    _check_enough(tested, present, outcome)
    names = np.array(labels)[tested["code"].to_numpy()]
    tested = tested.assign(round_no=pd.Categorical(names, categories=present, ordered=True))
    tested = tested.drop(columns="code").sort_values(["athlete", "round_no"], ignore_index=True)
    wide = widen(tested)
    parts = int((used & (took_part == "part")).sum())
    if parts:
        warnings.append(f"{plural(parts, 'round')} fought only in part {'is' if parts == 1 else 'are'} included.")
    order = ["athlete", "round_no", "value", *[c for c in tested if c not in ("athlete", "round_no", "value")]]
    return RoundRows(outcome, tuple(present), tested[order], before, wide, left_out, tuple(warnings))


def widen(table: pd.DataFrame) -> pd.DataFrame:
    """Put the values of a prepared table athlete by round, with text labels in order."""
    wide = table.set_index(["athlete", "round_no"])["value"].unstack("round_no").astype(float)  # noqa: PD010
    wide.columns = pd.Index([str(c) for c in wide.columns], name="round_no")
    return wide


def pairs_of(labels: Sequence[str], kind: str) -> list[tuple[int, int]]:
    """List the pairs (later, earlier) of a kind of contrast, as positions."""
    check_choice(kind, KINDS, name="kind")
    k = len(labels)
    if kind == "successive":
        return [(i, i - 1) for i in range(1, k)]
    if kind == "first":
        return [(i, 0) for i in range(1, k)]
    return [(i, j) for i in range(1, k) for j in range(i)]


def read_numbers(data, outcome) -> np.ndarray:
    """Read a column as numbers; blanks are missing, anything else unreadable is a KitError."""
    column = data[outcome]
    if isinstance(column, pd.DataFrame):
        raise KitError(f"The table has more than one column {outcome!r}.")
    numbers = pd.to_numeric(column, errors="coerce")
    if numbers.dtype.kind not in "biuf" or column.dtype.kind in "mM":
        raise KitError(f"{outcome} must hold numbers, but holds {column.dtype}. Give measured values or blanks.")
    values = numbers.to_numpy(dtype=float, na_value=np.nan)
    blank = column.isna().to_numpy() | (column.astype(str).str.strip() == "").to_numpy()
    wrong = np.isnan(values) & ~blank
    values = np.where(np.isinf(values), np.nan, values)  # nothing was measured
    if wrong.any():
        where = np.flatnonzero(wrong)[:3]
        shown = join_words([f"'{column.iloc[i]}' (athlete {data['athlete'].iloc[i]})" for i in where])
        raise KitError(
            f"{outcome} must hold numbers; {plural(int(wrong.sum()), 'cell')} cannot be read, such as {shown}. "
            "Correct them or leave them blank."
        )
    largest = np.max(np.abs(values), initial=0.0, where=~np.isnan(values))
    if largest > FARTHEST or 0 < largest < 1 / FARTHEST:
        raise KitError(f"{outcome} holds values of the size {largest:g}, which nothing measures; check its unit.")
    return values


def order_rounds(column: pd.Series) -> tuple[list[str], np.ndarray, list[str]]:
    """Labels in order, the position of each row's label (-1 where blank), and warnings."""
    missing = column.isna().to_numpy()
    if isinstance(column.dtype, pd.CategoricalDtype):
        categories = [label_of(c) for c in column.cat.categories]
        return categories, column.cat.codes.to_numpy().astype(int), []
    texts = np.array([label_of(v) for v in column], dtype=object)
    missing = missing | (texts == "")
    seen = list(dict.fromkeys(texts[~missing]))
    numbers = [_number_in(t) for t in seen]
    warnings = []
    if all(n is not None for n in numbers) and len({n[0] for n in numbers}) <= 1:
        seen = [t for _, t in sorted(zip(numbers, seen, strict=True))]
    else:
        seen = sorted(seen)
        warnings.append(
            f"The rounds are texts without numbers and were taken by the alphabet: {join_words(seen)}. Number them, or give an "
            "ordered category, for another order."
        )
    position = {t: i for i, t in enumerate(seen)}
    codes = np.array([-1 if m else position[t] for t, m in zip(texts, missing, strict=True)], dtype=int)
    return seen, codes, warnings


def label_of(value) -> str:
    """Write a round as its label: 2 and 2.0 as "2", missing as ""."""
    if isinstance(value, float | np.floating):
        return "" if np.isnan(value) else f"{value:g}"
    if value is None or value is pd.NA:
        return ""
    return str(value).strip()


def _number_in(text: str) -> tuple[str, float] | None:
    """The words around the one number of a label, and the number: "R10" -> ("R|", 10.0)."""
    match = re.fullmatch(r"(\D*?)(-?\d+(?:\.\d+)?)(\D*)", text)
    return (f"{match[1].casefold().strip()}|{match[3].casefold().strip()}", float(match[2])) if match else None


def _left_out(work, reason, labels, outcome) -> pd.DataFrame:
    rows = []
    for i in np.flatnonzero(reason != ""):
        line = work.iloc[i]
        known = {name: line[name] for name in ("file", "row", "session") if name in work}
        label = labels[line["code"]] if line["code"] >= 0 else ""
        rows.append({**known, "athlete": line["athlete"], "round_no": label, "measure": outcome, "reason": reason[i]})
    return left_out_table(rows)


def _check_repeats(used, labels, outcome) -> None:
    twice = used[used.duplicated(["athlete", "code"], keep=False)]
    if len(twice):
        line = twice.iloc[0]
        raise KitError(
            f"Athlete {line['athlete']} has more than one value of {outcome} in round {labels[line['code']]}. "
            "There must be one row for each athlete and round; correct the table or average replicates first."
        )


def _check_enough(tested, present, outcome) -> None:
    if len(tested) == 0:
        raise KitError(f"{outcome} holds no value in any round, so there is nothing to compare.")
    if len(present) < 2:
        raise KitError(f"Comparing rounds needs two rounds with values of {outcome}; there is only round {present[0]}.")
    if tested["athlete"].nunique() < 2:
        raise KitError(f"Comparing rounds needs at least two athletes with values of {outcome}; there is only one.")


def with_covariates(rows: RoundRows, covariates: Sequence[str]) -> tuple[RoundRows, dict[str, str]]:
    """Keep the rows that have every covariate, under names that a formula can hold."""
    if not covariates:
        return rows, {}
    table, terms = rows.table.copy(), {}
    given = table[list(covariates)].replace([np.inf, -np.inf], np.nan)
    missing = given.isna().any(axis=1) | (given.astype(str) == "").any(axis=1)
    why = {"measure": rows.outcome, "reason": "no value of a covariate"}
    lines = [{"athlete": line.athlete, "round_no": line.round_no, **why} for line in table[missing].itertuples()]
    table = table[~missing].reset_index(drop=True)
    if table["athlete"].nunique() < 3 or table["round_no"].nunique() < len(rows.labels):
        raise KitError(f"Too few athletes have a value of {', '.join(covariates)} to adjust for it.")
    for i, name in enumerate(covariates):
        numbers = pd.to_numeric(table[name], errors="coerce")
        table[f"covariate_{i}"] = table[name].astype(str) if numbers.isna().any() else numbers.astype(float)
        if table[f"covariate_{i}"].nunique() < 2:
            raise KitError(f"Every athlete has the same value of {name}, so it cannot be adjusted for.")
        terms[f"C(covariate_{i})" if numbers.isna().any() else f"covariate_{i}"] = name
    warnings = rows.warnings
    if missing.any():
        warnings = (*warnings, f"{plural(int(missing.sum()), 'row')} without a value of a covariate left out.")
    left_out = pd.concat([rows.left_out, left_out_table(lines)], ignore_index=True) if lines else rows.left_out
    return replace(rows, table=table, wide=widen(table), left_out=left_out, warnings=warnings), terms


def covariate_tests(fit, terms: dict[str, str]) -> pd.DataFrame:
    """Test the covariates of a fitted model."""
    columns = ["term", "estimate", "standard_error", "ci_low", "ci_high", "statistic", "df_num", "df_den", "p"]
    lines = []
    for term, name in terms.items():
        test = fit.test(term)
        line = {"term": name, "statistic": test.statistic, "df_num": test.df_num, "df_den": test.df_den, "p": test.p}
        if not term.startswith("C("):
            line |= fit.slopes(term)[columns[1:5]].iloc[0].to_dict()
        lines.append(line)
    return pd.DataFrame(lines, columns=columns)
