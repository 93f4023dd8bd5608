"""What a write-up has to show: which outcomes and questions there are, and which figures, under which name and caption."""

from __future__ import annotations

from functools import partial

from ..answers.describe import count_flow
from ..basics import NotYet, join_words, upper_first
from ..physiology.aerobic_tests import COARSE_STEP
from ..study import OUTCOMES
from ..telling.cleaning.figures import draw_missing, draw_overview, draw_time_in_bands
from ..telling.document import Picture
from ..telling.fitness.figures import draw_capacity, draw_levels, draw_specifications
from ..telling.pace.figures import draw_example_round, draw_fitness_and_activity
from ..telling.published.figures import draw_forest
from ..telling.rounds.figures import draw_checks, draw_evenings, draw_rounds, draw_steps
from ..telling.study.figures import draw_by_bound, draw_flow_of_athletes, draw_rests
from ..telling.style import FORMATS, HEAVY_BYTES, PAGE_PIXELS, figure_bytes
from ..telling.survey.figures import draw_sessions
from .sharing import SharedAnswers


def has_rounds(answers) -> bool:
    """A survey of sessions has no rounds, and none of the questions about them."""
    return bool(answers.study.protocol.rounds)


def nothing_compared(answers) -> list[str]:
    """Say why nothing was compared although something was measured."""
    if not answers.cleaned or answers.measured_outcomes:
        return []
    session = answers.study.plan.primary_session
    needs = "heart rate, lactate or exertion of at least three athletes in two rounds or more"
    return [str(NotYet("comparing the rounds", f"{needs} of session {session}, the primary session of the plan"))]


def fitness_outcomes(answers) -> list[str]:
    """The outcomes whose relation to fitness the plan asks about, and that were measured."""
    planned = [o for q, o in answers.study.plan.primary_outcomes.items() if q.startswith("fitness.")]
    return [o for o in dict.fromkeys(planned) if o in answers.fitness_outcomes]


def activity_answer(answers):
    """Fitness and what athletes did, beside the first outcome that the plan asks about; None or `NotYet` without pace."""
    if not answers.pace():
        return None
    return answers.activity(answers.study.plan.primary_outcomes.get("fitness.heart_rate", "hr_mean_bpm"))


def _picture(key: str, draw, *what, **words) -> Picture:
    """A figure of these results under its key; its caption stands under that key, or its beginning, in CAPTIONS."""
    caption = CAPTIONS.get(key) or next(c for k, c in CAPTIONS.items() if key.startswith(k))
    return Picture(key, partial(draw, *what), caption.format(**words))


CAPTIONS = {
    "rounds_percent_hr_max": "Share of the measured maximal heart rate over the rounds: athletes{step}, and the mean with its "
    "95 % interval.",
    "rounds": "{what} over the rounds. Thin lines: athletes; diamonds: mean of the mixed model with its 95\N{NO-BREAK SPACE}% "
    "interval.",
    "rests": "Heart rate in the rests: its fall in the first minute, and its level when the next round begins. Means with "
    "95\N{NO-BREAK SPACE}% intervals.",
    "flow": "From the folder to the answers: athletes, and values of theirs.",
    "missing": "What was measured of each athlete in each round, and what is missing. One row per athlete{order}.",
    "fitness_": "Aerobic capacity and {what} in sparring. One mark per athlete; line: planned model with its "
    "95\N{NO-BREAK SPACE}% band.",
    "steps": "Steps from round to round and from the first to the last, with 95 % intervals (model with Kenward-Roger). Shaded: "
    "changes too small to matter. Filled: shown to change.",
    "traces": "Heart rate of the evening on the timekeeper's clock, rounds shaded, samples that were set aside marked.",
    "bands": "Minutes of each round in the bands of intensity, of the athletes whose maximal heart rate was measured.",
    "levels": "{x} and {y} within athletes, and between them.",
    "evenings": "{what} of the second evening minus the first, each athlete one point; shaded, where 95 % of such differences "
    "lie by the typical error alone.",
    "pace_round": "One round of one athlete on one clock: heart rate above what was marked.",
    "pace_fitness": "Active share of a round against aerobic capacity, one point per athlete; beside heart rate, not adjusted "
    "for.",
    "checks_": "Checks of the model of {what}: residuals against fitted values, residuals and athletes against the normal "
    "distribution, spread by round.",
    "analyses_": "Every reasonable analysis of aerobic capacity and {what}, in multiples of the smallest difference that "
    "matters, with the choices behind each.",
    "bound_": "What would be said of {what} with any other smallest effect that matters; dashed: the planned one.",
    "comparison": "Published correlations of fitness with the response, ours, and the 95\N{NO-BREAK SPACE}% prediction interval "
    "for a study of our size.",
    "submitted_sessions": "Submitted sessions from their mean to their peak, ranked by peak. Thin lines: error of the predicted "
    "maximal heart rate (95\N{NO-BREAK SPACE}%).",
}
"""Key of a figure, or how it begins -> its caption."""


def _label(outcome: str) -> str:
    return OUTCOMES[outcome].label.lower()


def rounds_picture(answers: dict) -> Picture | None:
    """Every outcome over the rounds."""
    if not answers:
        return None
    what = upper_first(join_words([_label(o) for o in answers]))
    return _picture("rounds", draw_rounds, list(answers.values()), what=what)


def rests_picture(rests) -> Picture:
    """Heart rate in the rests between rounds."""
    return _picture("rests", draw_rests, rests)


def flow_picture(answers) -> Picture | None:
    """How many athletes stand behind each answer."""
    flow = count_flow(answers)
    return None if flow.answers.empty else _picture("flow", draw_flow_of_athletes, flow)


def missing_picture(cleaned) -> Picture | None:
    """What was measured of whom in which round; nothing where every mean was typed and none is missing."""
    rows = cleaned.rows[cleaned.rows["round_no"] > 0]
    if not cleaned.traces and rows["hr_mean_bpm"].notna().all():
        return None
    return _picture("missing", draw_missing, cleaned, order=", ordered by valid time" if cleaned.traces else "")


def fitness_picture(outcome: str, answer) -> Picture:
    """Aerobic capacity and the response of one outcome, athlete by athlete."""
    return _picture(f"fitness_{outcome}", draw_capacity, answer, what=_label(outcome))


def all_steps_picture(found: dict) -> Picture | None:
    """The steps of every outcome side by side."""
    return _picture("steps", draw_steps, list(found.values())) if found else None


def further_pictures(answers) -> list[Picture]:
    """Pictures of the evening for the supplement: traces, share of the maximum, time in bands, levels, evening to evening."""
    cleaned, made = answers.cleaned, []
    if cleaned and cleaned.traces:
        made.append(_picture("traces", draw_overview, cleaned))
    if cleaned and draw_time_in_bands(cleaned) is not None:
        made.append(_picture("bands", draw_time_in_bands, cleaned))
    if "percent_hr_max" in answers.measured_outcomes and (share := answers.rounds("percent_hr_max")):
        step = f" in steps of {COARSE_STEP:g} %" if isinstance(answers, SharedAnswers) else ""
        made.append(_picture("rounds_percent_hr_max", draw_rounds, [share], step=step))
    if levels := answers.levels():
        made.append(_picture("levels", draw_levels, levels, x=OUTCOMES[levels.x].label, y=_label(levels.y)))
    for outcome in answers.measured_outcomes[:1]:
        repeated = answers.reliability(outcome)
        if repeated and draw_evenings(repeated) is not None:
            made.append(_picture("evenings", draw_evenings, repeated, what=OUTCOMES[outcome].label))
    return made


def round_in_marks_picture(pace, cleaned) -> Picture | None:
    """One rated round of somebody who agreed to be shown."""
    there = draw_example_round(pace, cleaned) is not None
    return _picture("pace_round", draw_example_round, pace, cleaned) if there else None


def activity_picture(activity) -> Picture:
    """Fitness and activity."""
    return _picture("pace_fitness", draw_fitness_and_activity, activity)


def checks_picture(outcome: str, answer) -> Picture:
    """The assumption checks of one outcome."""
    return _picture(f"checks_{outcome}", draw_checks, answer, what=_label(outcome))


def analyses_picture(outcome: str, answer) -> Picture | None:
    """All reasonable analyses of fitness and one outcome."""
    if answer.specifications is None or answer.specifications.table.empty:
        return None
    return _picture(f"analyses_{outcome}", draw_specifications, answer, what=_label(outcome))


def bound_picture(question: str, outcome: str, curve) -> Picture:
    """The reading over every smallest effect that could have been chosen."""
    what = _label(outcome)
    what = f"{what} over the rounds" if question == "rounds" else f"fitness and {what}"
    return _picture(f"bound_{question}_{outcome}", draw_by_bound, curve, what=what)


def forest_picture(answer) -> Picture | None:
    """Published correlations and ours."""
    return None if answer.table.empty else _picture("comparison", draw_forest, answer)


def survey_picture(answer) -> Picture | None:
    """Submitted sessions, ranked."""
    shares = answer.sessions[["percent_mean_likely", "percent_peak_likely"]]
    known = shares.notna().all(axis=1).any()
    return _picture("submitted_sessions", draw_sessions, answer) if known else None


def drawn(_, picture: Picture) -> dict[str, object]:
    """Draw a picture in every format, for a worker process."""
    figure = picture.draw()
    found = {kind: figure_bytes(figure, kind) for kind in FORMATS}
    if len(found["svg"]) > HEAVY_BYTES:
        found[PAGE_PIXELS] = figure_bytes(figure, PAGE_PIXELS)
    return {"alt_text": figure.alt_text, "width_mm": float(figure.get_size_inches()[0] * 25.4), **found}
