"""Several outcomes of one question: one primary, Holm for the rest, exploratory ones claim nothing."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from ..basics import KitError, check_choice, join_words
from .answer import RoundsAnswer


def adjust_outcomes(answers: Mapping[str, RoundsAnswer], *, primary: str | None = None) -> pd.DataFrame:
    """Adjust the round tests of several outcomes of one question: the primary one at alpha, Holm for the rest.

    When to use: wherever one question (heart rate, lactate, exertion) is asked of more than one outcome.

    Parameters
    ----------
    answers : mapping of str to RoundsAnswer
        Outcome to answer, all of one question.
    primary : str, optional
        The primary outcome of the question. Default: the one whose role is "primary".

    Returns
    -------
    DataFrame
        outcome, role, statistic, df_num, df_den, p, p_adjusted (primary: p itself; secondary: Holm among the secondary ones;
        exploratory: missing), changed (after the adjustment; exploratory outcomes claim nothing), method.

    Notes
    -----
    One primary outcome per question is tested at alpha; the others are adjusted by Holm within the question, or labelled
    exploratory, as the plan says.

    References
    ----------
    Holm 1979, Scandinavian Journal of Statistics 6:65.

    Examples
    --------
    >>> import pandas as pd
    >>> from analysis.rounds import answer_rounds
    >>> data = pd.DataFrame({"athlete": list("AAABBBCCCDDD"), "round_no": [1, 2, 3] * 4,
    ...     "hr_mean_bpm": [160.0, 171, 172, 150, 160, 160, 171, 180, 179, 152, 163, 164]})
    >>> data["hr_peak_bpm"] = data["hr_mean_bpm"] + [9, 8, 9, 7, 9, 8, 9, 10, 8, 9, 9, 8]
    >>> found = {name: answer_rounds(data, name, smallest_effect=5, role=role)
    ...     for name, role in {"hr_mean_bpm": "primary", "hr_peak_bpm": "secondary"}.items()}
    >>> adjust_outcomes(found)["role"].tolist()
    ['primary', 'secondary']
    """
    from ..models import holm

    if not answers:
        raise KitError("There is no answer to adjust.")
    if primary is not None:
        check_choice(primary, list(answers), name="primary")
    table = pd.DataFrame([_line(name, answer, primary) for name, answer in answers.items()])
    named = table.loc[table["role"] == "primary", "outcome"].tolist()
    if len(named) > 1:
        raise KitError(
            f"A question has one primary outcome; here {join_words(named)} are named primary. Pass primary=."
        )
    adjusted = table["p"].where(table["role"] == "primary")
    second = (table["role"] == "secondary").to_numpy()
    if second.any():
        adjusted[second] = holm(table.loc[second, "p"].to_numpy())
    table.insert(6, "p_adjusted", adjusted)
    table["changed"] = table["changed"] & (table["p_adjusted"] < table["alpha"])
    return table.drop(columns="alpha")


def _line(name: str, answer: RoundsAnswer, primary: str | None) -> dict:
    role = answer.role
    if primary is not None:
        role = "primary" if name == primary else ("secondary" if role == "primary" else role)
    test = answer.comparison.overall
    return {
        "outcome": name,
        "role": role,
        "statistic": test.statistic,
        "df_num": test.df_num,
        "df_den": test.df_den,
        "p": test.p,
        "changed": bool(answer.changed) and role != "exploratory",
        "alpha": answer.alpha,
        "method": test.method,
    }
