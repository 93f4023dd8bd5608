"""What a plan says of its club: the field test, the sexes and the numbers that replace the kit's assumptions."""

from __future__ import annotations

import math

from ..basics import KitError, format_number
from ..physiology.aerobic_tests import typical_test_error
from .design import Assumptions, assumptions_for

UNKNOWN_ERROR = 4.4
SHARES = {"men": 0.0, "women": 1.0, "mixed": 0.4}
"""Share of women by what a plan says of the sexes; that of a mixed club is our proposal."""


def assumptions_of_plan(plan, protocol=None) -> tuple[Assumptions, bool, tuple[str, ...]]:
    """Take the kit's assumptions, with all that the plan says otherwise.

    `plan`: its fitness test, sexes and [plan.assumptions]. `protocol`: for the exertion scale.

    Gives the assumptions; True while none of the numbers is the club's own; what was taken from the plan, in words.

    Examples
    --------
    >>> from analysis.study import Plan
    >>> truth, proposed, said = assumptions_of_plan(Plan(aerobic_test="shuttle_run_20m"))
    >>> truth.test_error, truth.test_error_kind, proposed
    (4.4, 'prediction', True)
    """
    changes: dict = {}
    said = []
    scale = getattr(protocol, "exertion_scale", "") or "6-20"
    if plan is not None and plan.aerobic_test:
        error, kind = typical_test_error(plan.aerobic_test)
        if math.isnan(error):
            changes |= {"test_error": UNKNOWN_ERROR, "test_error_kind": kind}
            shown = format_number(UNKNOWN_ERROR, 1, unit="mL/kg/min")
            said.append(
                f"no error of the planned fitness test was published or read: that of a 20 m shuttle run is assumed, {shown} "
                "(our proposal)"
            )
        else:
            changes |= {"test_error": error, "test_error_kind": kind}
            words = "scatters around the true value" if kind == "retest" else "predicts it"
            said.append(
                f"the planned fitness test {words} with an error of {format_number(error, 1, unit='mL/kg/min')}"
            )
    if plan is not None and plan.sexes:
        changes["share_women"] = SHARES[plan.sexes]
        said.append(f"sexes: {plan.sexes}")
    for name, value in (plan.assumptions if plan is not None else {}).items():
        outcome, _, part = name.partition(".")
        if part:
            changes.setdefault(outcome, {})[part] = value
        else:
            changes[outcome] = value
        why = plan.assumption_reasons.get(name)
        said.append(f"{_words(name)} {value:g}" + (f" ({why.rstrip('.')})" if why else ""))
    try:
        truth = assumptions_for(scale=scale, **changes)
    except KitError as error:
        raise KitError(f"[plan.assumptions] in study.toml: {error}") from None
    return truth, not (plan is not None and plan.assumptions), tuple(said)


def _words(name: str) -> str:
    return name.replace(".", ": ").replace("_", " ")
