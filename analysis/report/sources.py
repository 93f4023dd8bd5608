"""The sources that a write-up names: methods by what its text cites, aerobic tests and published findings by use."""

from __future__ import annotations

import re

METHODS = {
    r"Bland and Altman,? 1995": "Bland JM, Altman DG (1995) British Medical Journal 310:446.",
    r"Bonett and Wright,? \(?2000": "Bonett DG, Wright TA (2000) Psychometrika 65:23-28.",
    r"Greenhouse and Geisser,? \(?1959": "Greenhouse SW, Geisser S (1959) Psychometrika 24:95-112.",
    r"Holm,? \(?1979": "Holm S (1979) Scandinavian Journal of Statistics 6:65-70.",
    r"Kenward and Roger,? \(?1997": "Kenward MG, Roger JH (1997) Biometrics 53:983-997.",
    r"Loe,? 2013": "Loe H, et al. (2013) PLoS ONE 8:e64319.",
    r"Ly, Verhagen and Wagenmakers,? \(?2016": (
        "Ly A, Verhagen J, Wagenmakers EJ (2016) Journal of Mathematical Psychology 72:19-32."
    ),
    r"Schuirmann,? \(?1987": "Schuirmann DJ (1987) Journal of Pharmacokinetics and Biopharmaceutics 15:657-680.",
}
"""What a text says -> the source."""


def list_sources(text: str, answers) -> tuple[str, ...]:
    """List the sources of a write-up in order of their names."""
    found = {source for pattern, source in METHODS.items() if re.search(pattern, text)}
    found |= {_sentence(s) for s in _tests(answers)} | {_sentence(s) for s in _published(answers)}
    return tuple(sorted(found, key=str.casefold))


def _sentence(text: str) -> str:
    text = text.strip().rstrip(".")
    return f"{text[:1].upper()}{text[1:]}."


def _tests(answers) -> list[str]:
    tests = answers.description.participants.tests
    if tests.empty:
        return []
    from ..physiology import known_aerobic_tests

    known = known_aerobic_tests()
    used = known[known["test"].isin(tests["test"])]
    if "default" in used:
        used = used[used["default"].astype(bool)]
    return [
        f"{title}: {source}"
        for title, source in zip(used["title"], used["source"], strict=True)
        if re.search(r"\b(19|20)\d\d\b", source)
    ]


def _published(answers) -> list[str]:
    published = answers.study.published
    return [s for s in dict.fromkeys(published["source"]) if s] if answers.published() else []
