"""What a write-up has to show: which outcomes and questions there are, and which figures, under which name and caption."""

from __future__ import annotations

from functools import partial

from ..basics import NotYet, upper_first
from ..study import OUTCOMES
from ..telling.document import Picture


def has_rounds(answers) -> bool:
    """A survey of sessions has no rounds, and none of the questions about them."""
    return bool(answers.study.protocol.rounds)


def nothing_compared(answers) -> list[str]:
    """Say why nothing was compared although something was measured."""
    if not answers.cleaned or answers.measured_outcomes:
        return []
    session = answers.study.plan.primary_session
    needs = "heart rate, lactate or exertion of at least three athletes in two rounds or more"
    return [
        str(NotYet("comparing the rounds", f"{needs} of session {session}, the primary session of the plan"))
    ]


def fitness_outcomes(answers) -> list[str]:
    """The outcomes whose relation to fitness the plan asks about, and that were measured."""
    planned = [o for q, o in answers.study.plan.primary_outcomes.items() if q.startswith("fitness.")]
    return [o for o in dict.fromkeys(planned) if o in answers.fitness_outcomes]


def activity_answer(answers):
    """Fitness and what athletes did, beside the first outcome that the plan asks about; None or `NotYet` without pace."""
    if not answers.pace():
        return None
    return answers.activity(answers.study.plan.primary_outcomes.get("fitness.heart_rate", "hr_mean_bpm"))


def rounds_picture(answers: dict) -> Picture | None:
    """Every outcome over the rounds."""
    from ..telling.rounds.figures import draw_rounds

    if not answers:
        return None
    labels = [OUTCOMES[o].label.lower() for o in answers]
    caption = (
        f"{_listed(labels)} over the rounds. Thin lines: athletes; diamonds: mean of the mixed model with its "
        "95\N{NO-BREAK SPACE}% interval."
    )
    return Picture("rounds", partial(draw_rounds, list(answers.values())), caption)


def rests_picture(rests) -> Picture:
    """Heart rate in the rests between rounds."""
    from ..telling.study.figures import draw_rests

    caption = (
        "Heart rate in the rests: its fall in the first minute, and its level when the next round begins. Means with "
        "95\N{NO-BREAK SPACE}% intervals."
    )
    return Picture("rests", partial(draw_rests, rests), caption)


def flow_picture(answers) -> Picture | None:
    """How many athletes stand behind each answer."""
    from ..answers.roll_call import count_flow
    from ..telling.study.figures import draw_flow_of_athletes

    flow = count_flow(answers)
    if flow.answers.empty:
        return None
    caption = "From the folder to the answers: athletes, and values of theirs."
    return Picture("flow", partial(draw_flow_of_athletes, flow), caption)


def missing_picture(cleaned) -> Picture | None:
    """What was measured of whom in which round; nothing where every mean was typed and none is missing."""
    from ..telling.cleaning.account_figures import draw_missing

    rows = cleaned.rows[cleaned.rows["round_no"] > 0]
    if not cleaned.traces and rows["hr_mean_bpm"].notna().all():
        return None
    order = ", ordered by valid time" if cleaned.traces else ""
    caption = (
        f"What was measured of each athlete in each round, and what is missing. One row per athlete{order}."
    )
    return Picture("missing", partial(draw_missing, cleaned), caption)


def fitness_picture(outcome: str, answer) -> Picture:
    """Aerobic capacity and the response of one outcome, athlete by athlete."""
    from ..telling.fitness.figures import draw_capacity

    label = OUTCOMES[outcome].label.lower()
    caption = (
        f"Aerobic capacity and {label} in sparring. One mark per athlete; line: planned model with its "
        "95\N{NO-BREAK SPACE}% band."
    )
    return Picture(f"fitness_{outcome}", partial(draw_capacity, answer), caption)


def all_steps_picture(found: dict) -> Picture | None:
    """The steps of every outcome side by side."""
    from ..telling.rounds.figures import draw_steps

    if not found:
        return None
    caption = (
        "Steps from round to round and from the first to the last, with 95 % intervals (model with Kenward-Roger). Shaded: "
        "changes too small to matter. Filled: shown to change."
    )
    return Picture("steps", partial(draw_steps, list(found.values())), caption)


def further_pictures(answers) -> list[Picture]:
    """Pictures of the evening for the supplement: traces, share of the maximum, time in bands, levels, evening to evening."""
    from ..telling.cleaning.account_figures import draw_time_in_bands
    from ..telling.cleaning.figures import draw_overview
    from ..telling.fitness.figures import draw_levels
    from ..telling.rounds.figures import draw_evenings, draw_rounds

    cleaned, made = answers.cleaned, []
    if cleaned and cleaned.traces:
        caption = "Heart rate of the evening on the timekeeper's clock, rounds shaded, samples that were set aside marked."
        made.append(Picture("traces", partial(draw_overview, cleaned), caption))
    if cleaned and draw_time_in_bands(cleaned) is not None:
        caption = "Minutes of each round in the bands of intensity, of the athletes whose maximal heart rate was measured."
        made.append(Picture("bands", partial(draw_time_in_bands, cleaned), caption))
    if "percent_hr_max" in answers.measured_outcomes and (share := answers.rounds("percent_hr_max")):
        caption = "Share of the measured maximal heart rate over the rounds: athletes, and the mean with its 95 % interval."
        made.append(Picture("rounds_percent_hr_max", partial(draw_rounds, [share]), caption))
    if levels := answers.levels():
        caption = f"{OUTCOMES[levels.x].label} and {OUTCOMES[levels.y].label.lower()} within athletes, and between them."
        made.append(Picture("levels", partial(draw_levels, levels), caption))
    for outcome in answers.measured_outcomes[:1]:
        repeated = answers.reliability(outcome)
        if repeated and draw_evenings(repeated) is not None:
            caption = (
                f"{OUTCOMES[outcome].label} of the second evening minus the first, each athlete one point; shaded, where 95 % of "
                "such differences lie by the typical error alone."
            )
            made.append(Picture("evenings", partial(draw_evenings, repeated), caption))
    return made


def round_in_marks_picture(pace, cleaned) -> Picture | None:
    """One rated round of somebody who agreed to be shown."""
    from ..telling.pace.figures import draw_example_round

    if draw_example_round(pace, cleaned) is None:
        return None
    caption = "One round of one athlete on one clock: heart rate above what was marked."
    return Picture("pace_round", partial(draw_example_round, pace, cleaned), caption)


def activity_picture(activity) -> Picture:
    """Fitness and activity."""
    from ..telling.pace.figures import draw_fitness_and_activity

    caption = "Active share of a round against aerobic capacity, one point per athlete; beside heart rate, not adjusted for."
    return Picture("pace_fitness", partial(draw_fitness_and_activity, activity), caption)


def checks_picture(outcome: str, answer) -> Picture:
    """The assumption checks of one outcome."""
    from ..telling.rounds.check_figures import draw_checks

    caption = (
        f"Checks of the model of {OUTCOMES[outcome].label.lower()}: residuals against fitted values, residuals and athletes "
        "against the normal distribution, spread by round."
    )
    return Picture(f"checks_{outcome}", partial(draw_checks, answer), caption)


def analyses_picture(outcome: str, answer) -> Picture | None:
    """All reasonable analyses of fitness and one outcome."""
    from ..telling.fitness.figures import draw_specifications

    if answer.specifications is None or answer.specifications.table.empty:
        return None
    caption = (
        f"Every reasonable analysis of aerobic capacity and {OUTCOMES[outcome].label.lower()}, in multiples of the smallest "
        "difference that matters, with the choices behind each."
    )
    return Picture(f"analyses_{outcome}", partial(draw_specifications, answer), caption)


def bound_picture(question: str, outcome: str, curve) -> Picture:
    """The reading over every smallest effect that could have been chosen."""
    from ..telling.study.figures import draw_by_bound

    what = OUTCOMES[outcome].label.lower()
    asked = f"{what} over the rounds" if question == "rounds" else f"fitness and {what}"
    caption = (
        f"What would be said of {asked} with any other smallest effect that matters; dashed: the planned one."
    )
    return Picture(f"bound_{question}_{outcome}", partial(draw_by_bound, curve), caption)


def forest_picture(answer) -> Picture | None:
    """Published correlations and ours."""
    from ..telling.published.figures import draw_forest

    if answer.table.empty:
        return None
    caption = (
        "Published correlations of fitness with the response, ours, and the 95\N{NO-BREAK SPACE}% prediction interval for a "
        "study of our size."
    )
    return Picture("comparison", partial(draw_forest, answer), caption)


def survey_picture(answer) -> Picture | None:
    """Submitted sessions, ranked."""
    from ..telling.survey.figures import draw_sessions

    shares = answer.sessions[["percent_mean_likely", "percent_peak_likely"]]
    if not shares.notna().all(axis=1).any():
        return None
    caption = (
        "Submitted sessions from their mean to their peak, ranked by peak. Thin lines: error of the predicted maximal heart "
        "rate (95\N{NO-BREAK SPACE}%)."
    )
    return Picture("submitted_sessions", partial(draw_sessions, answer), caption)


def _listed(labels: list[str]) -> str:
    from ..basics import join_words

    text = join_words(labels)
    return upper_first(text)


def drawn(_, picture: Picture) -> dict[str, object]:
    """Draw a picture in every format, for a worker process."""
    from ..telling.export import FORMATS, HEAVY_BYTES, PAGE_PIXELS, figure_bytes

    figure = picture.draw()
    found = {kind: figure_bytes(figure, kind) for kind in FORMATS}
    if len(found["svg"]) > HEAVY_BYTES:
        found[PAGE_PIXELS] = figure_bytes(figure, PAGE_PIXELS)
    return {"alt_text": figure.alt_text, "width_mm": float(figure.get_size_inches()[0] * 25.4), **found}
