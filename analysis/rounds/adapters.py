"""The one place that calls pingouin: nothing outside sees its column names."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd


def rm_anova(long: pd.DataFrame) -> dict:
    """Return F, degrees of freedom, p, epsilons, Mauchly's test and generalised eta squared of complete data."""
    import pingouin as pg

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            table = pg.rm_anova(
                data=long,
                dv="value",
                within="round_no",
                subject="athlete",
                correction=True,
                detailed=True,
                effsize="ng2",
            )
        except ZeroDivisionError:  # its Mauchly test, of two or three athletes and some numbers of rounds
            table = _few_athletes(long)
        effect, error = table.iloc[0], table.iloc[1]
        wide = long.pivot_table(index="athlete", columns="round_no", values="value", observed=True)
        k = wide.shape[1]
        hf = float(pg.epsilon(wide, correction="hf")) if k > 2 else 1.0
    return {
        "statistic": float(effect["F"]),
        "df_num": float(effect["DF"]),
        "df_den": float(error["DF"]),
        "p": float(effect["p_unc"]),
        "epsilon_gg": float(effect["eps"]),
        "epsilon_hf": min(1.0, hf) if hf > 0 else np.nan,
        "mauchly_w": float(effect["W_spher"]) if "W_spher" in table else np.nan,
        "mauchly_p": float(effect["p_spher"]) if "p_spher" in table else np.nan,
        "eta2_generalized": float(effect["ng2"]),
        "ss_round": float(effect["SS"]),
        "ss_error": float(error["SS"]),
    }


def _few_athletes(long: pd.DataFrame) -> pd.DataFrame:
    """The same table without Mauchly's test, from the sums of squares."""
    import pingouin as pg
    from scipy import stats

    wide = long.pivot_table(index="athlete", columns="round_no", values="value", observed=True)
    values, (n, k) = wide.to_numpy(), wide.shape
    grand = values.mean()
    ss_round = n * ((values.mean(axis=0) - grand) ** 2).sum()
    ss_athlete = k * ((values.mean(axis=1) - grand) ** 2).sum()
    ss_error = ((values - grand) ** 2).sum() - ss_round - ss_athlete
    df, df_error = k - 1, (k - 1) * (n - 1)
    statistic = (ss_round / df) / (ss_error / df_error)
    return pd.DataFrame(
        {
            "F": [statistic, np.nan],
            "DF": [df, df_error],
            "SS": [ss_round, ss_error],
            "p_unc": [stats.f.sf(statistic, df, df_error), np.nan],
            "eps": [pg.epsilon(wide, correction="gg"), np.nan],
            "ng2": [ss_round / (ss_round + ss_error + ss_athlete), np.nan],
        }
    )


def friedman(wide: pd.DataFrame) -> dict:
    """Return Friedman's chi-square corrected for ties, with Kendall's W."""
    import pingouin as pg

    long = (
        wide.reset_index(drop=True)
        .rename_axis(index="athlete")
        .melt(ignore_index=False, var_name="round_no")
        .reset_index()
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        line = pg.friedman(data=long, dv="value", within="round_no", subject="athlete").iloc[0]
    return {
        "statistic": float(line["Q"]),
        "df": float(line["ddof1"]),
        "p": float(line["p_unc"]),
        "kendall_w": float(line["W"]),
    }


def intraclass(long: pd.DataFrame) -> pd.DataFrame:
    """Return the intraclass correlations of complete data, unrounded."""
    import pingouin as pg

    kept = {option: pg.options[option] for option in ("round", "round.column.CI95")}
    try:
        pg.options.update({"round": None, "round.column.CI95": None})
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            table = pg.intraclass_corr(data=long, targets="athlete", raters="trial", ratings="value")
    finally:
        pg.options.update(kept)
    names = {"ICC(A,1)": "ICC(2,1)", "ICC(C,1)": "ICC(3,1)", "ICC(A,k)": "ICC(2,k)", "ICC(C,k)": "ICC(3,k)"}
    table = table.set_index("Type").loc[list(names)]
    limits = np.array([np.asarray(c, dtype=float) for c in table["CI95"]])
    return pd.DataFrame(
        {
            "type": list(names.values()),
            "estimate": table["ICC"].to_numpy(dtype=float),
            "ci_low": limits[:, 0],
            "ci_high": limits[:, 1],
            "statistic": table["F"].to_numpy(dtype=float),
            "df_num": table["df1"].to_numpy(dtype=float),
            "df_den": table["df2"].to_numpy(dtype=float),
            "p": table["pval"].to_numpy(dtype=float),
        }
    )
