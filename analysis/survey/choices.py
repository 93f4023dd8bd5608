"""What a survey folder may choose in the part [survey] of its study.toml."""

from __future__ import annotations

from collections.abc import Mapping

from ..basics import KitError, did_you_mean
from ..physiology import hr_max_equations
from ..study.columns import column_rules

AGES = (10.0, 90.0)
"""Years between which the plausible ages may be set."""


def survey_choices(settings: Mapping | None) -> dict:
    """Read the part [survey] of study.toml.

    Parameters
    ----------
    settings : mapping or None
        The parsed study.toml, of which the part [survey] may name `equation` (of maximal heart rate), `session_kinds`
        (kinds of session in the main analysis) and `plausible_ages` (youngest and oldest, years, of people who gave
        none).

    Returns
    -------
    dict
        Arguments of `answer_survey`; what is not named is left to its defaults.

    Raises
    ------
    KitError
        With every unknown name and every value that cannot be used at once.

    Examples
    --------
    >>> survey_choices({"survey": {"plausible_ages": [16, 60]}})
    {'plausible_ages': (16.0, 60.0)}
    """
    part = (settings or {}).get("survey", {})
    if not isinstance(part, Mapping):
        raise KitError("survey in study.toml is not a part: write [survey] on a line of its own.")
    checks = {"equation": _equation, "session_kinds": _kinds, "plausible_ages": _ages}
    chosen, faults = {}, []
    for name, value in part.items():
        if name not in checks:
            faults.append(f"{name} is not a setting of a survey; there are {', '.join(checks)}.")
            continue
        try:
            chosen[name] = checks[name](value)
        except ValueError as fault:
            faults.append(f"{name} {fault}")
    if faults:
        raise KitError("[survey] in study.toml: " + " ".join(faults))
    return chosen


def _equation(value) -> str:
    return _one_of(value, list(hr_max_equations()["equation"]))


def _kinds(value) -> tuple[str, ...]:
    known = column_rules()["survey"]["session_kind"].choices
    if not isinstance(value, list) or not value:
        raise ValueError(f'must be a list such as ["{known[0]}", "{known[1]}"].')
    return tuple(_one_of(kind, known) for kind in value)


def _ages(value) -> tuple[float, float]:
    numbers = isinstance(value, list) and len(value) == 2
    numbers = numbers and all(isinstance(v, int | float) and not isinstance(v, bool) for v in value)
    if not numbers or not AGES[0] <= value[0] < value[1] <= AGES[1]:
        raise ValueError(
            f"must be the youngest and the oldest, such as [18, 55], between {AGES[0]:.0f} and {AGES[1]:.0f}."
        )
    return float(value[0]), float(value[1])


def _one_of(value, known) -> str:
    if value in known:
        return value
    near = did_you_mean(str(value), known)
    hint = f" Did you mean {near}?" if near else ""
    raise ValueError(f"is {value!r}, not one of {', '.join(known)}.{hint}")
