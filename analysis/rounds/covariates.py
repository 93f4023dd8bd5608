"""Covariates of the comparison of rounds: rows that have them, terms that a formula can hold, and their tests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from ..basics import KitError, left_out_table, plural
from .prepare import RoundRows, widen


def with_covariates(rows: RoundRows, covariates: Sequence[str]) -> tuple[RoundRows, dict[str, str]]:
    """Keep the rows that have every covariate, under names that a formula can hold."""
    if not covariates:
        return rows, {}
    table, terms = rows.table.copy(), {}
    missing = table[list(covariates)].isna().any(axis=1) | (table[list(covariates)].astype(str) == "").any(
        axis=1
    )
    lines = [
        {
            "athlete": line.athlete,
            "round_no": line.round_no,
            "measure": rows.outcome,
            "reason": "no value of a covariate",
        }
        for line in table[missing].itertuples()
    ]
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
        warnings = (
            *warnings,
            f"{plural(int(missing.sum()), 'row')} without a value of a covariate left out.",
        )
    left_out = (
        pd.concat([rows.left_out, left_out_table(lines)], ignore_index=True) if lines else rows.left_out
    )
    return replace(rows, table=table, wide=widen(table), left_out=left_out, warnings=warnings), terms


def covariate_tests(fit, terms: dict[str, str]) -> pd.DataFrame:
    """Test the covariates of a fitted model."""
    columns = [
        "term",
        "estimate",
        "standard_error",
        "ci_low",
        "ci_high",
        "statistic",
        "df_num",
        "df_den",
        "p",
    ]
    lines = []
    for term, name in terms.items():
        test = fit.test(term)
        line = {
            "term": name,
            "statistic": test.statistic,
            "df_num": test.df_num,
            "df_den": test.df_den,
            "p": test.p,
        }
        if not term.startswith("C("):
            line |= fit.slopes(term)[columns[1:5]].iloc[0].to_dict()
        lines.append(line)
    return pd.DataFrame(lines, columns=columns)
