"""Sentences about deviations from the plan and about limitations."""

from __future__ import annotations

from ...basics import NotYet, format_ci, format_number, join_words, plural
from ...study import OUTCOMES, plan_deviations


def deviations(answers) -> list[tuple[str, str, str]]:
    """List what was done otherwise than planned."""
    study, plan = answers.study, answers.study.plan
    if plan.frozen:
        found = [
            (line.part[0].upper() + line.part[1:], line.planned, line.done)
            for line in plan_deviations(study).itertuples(index=False)
        ]
    else:
        found = [("Plan before the data", "fixed before the first measurement", "not fixed")]
        enrolled = answers.description.participants.n_athletes
        if plan.n_athletes and plan.n_athletes != enrolled:
            found.append(
                ("Number of athletes", plural(plan.n_athletes, "athlete"), plural(enrolled, "athlete"))
            )
        if len(study.decisions):
            found.append(("Decisions by a person", "by rule", plural(len(study.decisions), "decision")))
    return found + _analyses(answers)


def _analyses(answers) -> list[tuple[str, str, str]]:
    """Planned analyses that were not done, or were adjusted otherwise."""
    plan, found = answers.study.plan, []
    for question, outcome in plan.primary_outcomes.items() if answers.measured_outcomes else ():
        family, label = question.split(".")[0], OUTCOMES[outcome].label
        answer = answers.rounds(outcome) if family == "rounds" else answers.fitness(outcome)
        if isinstance(answer, NotYet):
            what = "change over the rounds" if family == "rounds" else "relation to fitness"
            found.append((f"{label}: {what}", "analysed", f"not analysed; {_reason(answer)}"))
        elif family == "fitness" and plan.covariates and set(answer.adjusted_for) != set(plan.covariates):
            planned, done = (
                join_words(list(map(covariate_words, c))) for c in (plan.covariates, answer.adjusted_for)
            )
            found.append((f"{label}: adjustment of the relation to fitness", planned, done or "nothing"))
    return found


def _reason(answer) -> str:
    why = getattr(answer, "why", "").partition(":")[0]  # the whole reason stands among the results
    return why[0].lower() + why[1:].rstrip(".") if why else f"needs {answer.needs}"


def covariate_words(name: str) -> str:
    """Return a covariate in words: "hr_max_bpm" is "maximal heart rate"."""
    words = {"hr_max_bpm": "maximal heart rate", "age_years": "age", "mass_kg": "body mass"}
    return words.get(name, name.replace("_", " "))


def write_up_deviations(answers) -> list[str]:
    """Say in what the study departed from its plan."""
    found, plan = deviations(answers), answers.study.plan
    if not found:
        return ["Nothing was done otherwise than the fixed plan says."]
    if not plan.frozen and len(found) == 1:
        return [
            "No plan was fixed before the data: there is none to depart from, and nothing here confirms a plan."
        ]
    fixed = "fixed plan" if plan.frozen else "plan in the study settings"
    text = f"{{table:deviations}} lists {plural(len(found), 'point')} in which the study departed from the {fixed}"
    if len(answers.study.decisions):
        text += (
            ", decisions by hand included; each decision stands with its reason in the ledger of the study"
        )
    return [text + "."]


def write_up_limitations(answers) -> list[str]:
    """Say what limits the conclusions, and in which direction where that is known."""
    people, conditions = answers.description.participants, answers.description.conditions
    survey = (
        [
            "People chose whether to submit sessions, and which: those who did may train otherwise than those who did not. "
            "Nobody checked how straps were worn or ages given."
        ]
        if answers.survey()
        else []
    )
    if not people.n_athletes:
        return survey
    clubs = {0: "a small group", 1: "one club"}.get(people.n_clubs, f"{people.n_clubs} clubs")
    first = (
        f"The study describes {clubs}; its athletes were not drawn at random from any wider group, so that how far the "
        "results hold elsewhere is not known."
    )
    if not answers.measured_outcomes:
        return [first, *survey]
    first += (
        " The rounds came in the same order for everyone: a change over the rounds cannot be told apart from warming up, "
        "fatigue, the time of the evening or the choice of opponents. Athletes of one bout share what happened in it."
    )
    return [first, *_fitness_limits(answers, people), *_measurement_limits(answers, conditions), *survey]


def _fitness_limits(answers, people) -> list[str]:
    answer = next((a for o in answers.measured_outcomes if (a := answers.fitness(o))), None)
    if not answer:
        return []
    text = (
        "Fitness was not assigned: athletes who are fitter may differ in weight, skill, age and style of sparring, so that "
        "an association does not show what training would do."
    )
    pearson = answer.correlations[answer.correlations["analysis"] == "Pearson"]
    if len(pearson):
        row = pearson.iloc[0]
        text += (
            f" With {plural(answer.n_athletes, 'athlete')} a correlation is known only roughly; that of aerobic capacity "
            f"and {OUTCOMES[answer.outcome].label.lower()} lies, at 95\N{NO-BREAK SPACE}% confidence, between "
            f"{format_number(row['ci_low'], 2)} and {format_number(row['ci_high'], 2)}."
        )
    tests = people.tests
    predicted = int(tests.loc[tests["error_kind"] == "prediction", "n_athletes"].sum())
    if predicted:
        who = f"all {predicted}" if predicted == people.n_tested else f"{predicted} of {people.n_tested}"
        text += (
            f" For {who} athletes capacity was estimated and not measured, which makes "
            "a correlation look weaker than it is."
        )
    with_heart_rate = int(tests.loc[tests["uses_heart_rate"].astype(bool), "n_athletes"].sum())
    if with_heart_rate:
        text += (
            f" In {plural(with_heart_rate, 'athlete')} the test itself uses heart rate, which can create a relation with "
            "heart rate in sparring where there is none."
        )
    return [text]


def _measurement_limits(answers, conditions) -> list[str]:
    parts = []
    delay = conditions.delay
    if delay and delay["high"] > delay["low"]:
        parts.append(
            "Lactate goes on changing after a round, and the samples were taken between "
            f"{format_ci(delay['low'], delay['high'], 0, unit='s')} after it".replace(" to ", " and ")
            + ", which adds scatter and, where later rounds were sampled later, may add a trend."
        )
    cleaned = answers.cleaned
    flags = cleaned.flags_table
    if len(flags):
        parts.append(
            "Contact of the sensors is lost in clinches and on the ground, when effort may be highest; the "
            "recordings have gaps of this kind, and a mean over what is left may be too low."
        )
    missing = answers.study.athletes["hr_max_source"] != "measured"
    if conditions.n_traces and missing.any():
        parts.append(
            f"For {plural(int(missing.sum()), 'athlete')} no maximal heart rate was measured; shares of the maximum are "
            "given for the others only."
        )
    return [" ".join(parts)] if parts else []
