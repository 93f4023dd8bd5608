"""Who sends data: groups of people and of sessions, so that a reader can judge whom the survey speaks of."""

from __future__ import annotations

import numpy as np
import pandas as pd

COLUMNS = ["what", "group", "n_athletes", "n_sessions", "share_people", "share_sessions"]
AGE_EDGES = (0, 18, 25, 35, 45, 55, 200)
AGE_NAMES = ("under 18", "18 to 24", "25 to 34", "35 to 44", "45 to 54", "55 and over")
NOT_SAID = "not said"


def describe_senders(sessions: pd.DataFrame) -> pd.DataFrame:
    """Count people and sessions by sex, age, sensor, kind of session, sessions sent and recording."""
    codes = sessions["code"].to_numpy()
    n_people = int(codes.max()) + 1 if len(codes) else 0
    sent = np.bincount(codes, minlength=n_people)[codes] if len(codes) else codes
    age = pd.cut(sessions["age_years"], AGE_EDGES, right=False, labels=list(AGE_NAMES))
    groups = {
        "sex": _named(sessions["sex"], {"F": "women", "M": "men", "X": "other"}),
        "age": age.astype(object).where(age.notna(), NOT_SAID),
        "sensor": _named(sessions["device_kind"], {"unknown": NOT_SAID}),
        "kind of session": _named(sessions["session_kind"], {"unknown": NOT_SAID}),
        "sessions of one person": pd.Series(
            np.select([sent == 1, sent <= 3], ["1", "2 or 3"], "4 or more"), index=sessions.index
        ),
        "recording": pd.Series(np.where(sessions["file"] != "", "sent", "not sent")),
    }
    lines = []
    for what, group in groups.items():
        number, names = pd.factorize(group.to_numpy(), sort=False)
        order = sorted(range(len(names)), key=lambda i, n=names: _order(n[i]))
        people = pd.DataFrame({"g": number, "c": codes}).drop_duplicates()["g"].to_numpy()
        for i in order:
            n, k = int((number == i).sum()), int((people == i).sum())
            lines.append([what, str(names[i]), k, n, k / n_people, n / len(codes)])
    return pd.DataFrame(lines, columns=COLUMNS)


def _named(values: pd.Series, words: dict[str, str]) -> pd.Series:
    plain = {c: words.get(c, str(c).replace("_", " ")) or NOT_SAID for c in values.cat.categories}
    return values.astype(object).map(plain).fillna(NOT_SAID)


def _order(name: str) -> tuple:
    return (name == NOT_SAID, AGE_NAMES.index(name) if name in AGE_NAMES else -1, name)
