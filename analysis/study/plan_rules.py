"""The rules of a plan in words: what is held equal, and how several questions are tested together."""

from __future__ import annotations

from ..basics import format_percent, join_words
from .outcomes import QUESTIONS, short_question
from .plan import Plan


def about_adjustment(plan: Plan) -> str:
    """Say what each fitness question is adjusted for, and what becomes of athletes who lack it."""
    said = [
        f"{short_question(question)} for {_covariates(plan.adjusted_for(question, plan.primary_outcomes[question]))}"
        for question in plan.primary_outcomes
        if question.startswith("fitness.")
    ]
    text = f"The slope is adjusted, whoever comes: {'; '.join(said)}. The unadjusted result stands beside it."
    if any("hr_max_bpm" in covariates for covariates in plan.adjustment.values()):
        text += " Athletes without a measured maximal heart rate are left out where it is adjusted for, and counted."
    return text


COVARIATE_WORDS = {"hr_max_bpm": "measured maximal heart rate", "age_years": "age", "sex": "sex (where both take part)"}


def _covariates(names: tuple[str, ...]) -> str:
    return join_words([COVARIATE_WORDS.get(n, n.replace("_", " ")) for n in names]) or "nothing"


def about_multiplicity(plan: Plan) -> str:
    """Say how several questions are tested together, and the family-wise rate of false claims."""
    asked = [q for q in QUESTIONS if any(h.question == q for h in plan.hypotheses)]
    first = [q for q in asked if q in plan.primary_questions] if plan.multiplicity == "primary" else asked
    families = [("primary", first), ("secondary", [q for q in asked if q not in first])]
    families = [(word if plan.multiplicity == "primary" else "", own) for word, own in families if own]
    level = _percent(plan.alpha)
    several = [(word, own) for word, own in families if len(own) > 1]
    said = []
    if several:
        where = "in a family of questions" if several[0][0] else "over all questions together"
        said.append(f"Holm's method keeps the chance of any false claim {where} at {level} or less.")
    if several and several[0][0]:
        named = join_words([f"the {w} questions ({'; '.join(map(short_question, own))})" for w, own in several])
        said.append(f"{'The families are' if len(several) > 1 else 'One family is'} {named}.")
    said += [
        f"The {word or 'one'} question ({short_question(own[0])}) is tested at {level}."
        for word, own in families
        if len(own) == 1
    ]
    if len(families) > 1:
        said.append(f"Over all questions together it is at most {_percent(2 * plan.alpha)}.")
    return " ".join(said)


def about_looks(plan: Plan) -> tuple[str, ...]:
    """Say at which numbers of athletes the data are looked at, and how the error is spent; nothing where it is once."""
    if not plan.looks:
        return ()
    rule = {"obrien-fleming": "O'Brien-Fleming-type", "pocock": "Pocock-type"}[plan.look_rule]
    return (
        f"The data are looked at with {join_words([str(n) for n in plan.looks])} athletes. {rule} spending (Lan and DeMets) "
        "keeps the chance of a false claim over all looks at the level of the plan; each look's own level is calibrated by "
        "simulated studies of these sizes. Stopping for want of an effect is advice, not a rule.",
    )


def _percent(share: float) -> str:
    return format_percent(share, 0 if round(100 * share, 6).is_integer() else 1)
