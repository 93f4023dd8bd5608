"""The phrases about training, apart from the logic that chooses among them: change any of them here.

Words in braces are filled in from results.
"""

from __future__ import annotations

from ...training.answer import GAIN, MATTERS, OPPOSITE, SMALL

# in plain words
ENDED = "As allocated, trained athletes ended {amount} {higher} in {outcome} ({interval}) than control athletes who started level."
AS_EXTREME_SHORT = "; {as_extreme} of {possible:,} possible allocations would differ as much."
AS_EXTREME = "Of {possible:,} possible allocations, {as_extreme} would show as large a difference."
NOT_CONFIRMATORY = "No confirmatory claim: {reasons}."
IT = "It"
TAKEN_ALONE = "Taken alone, it"
VERDICTS = {
    MATTERS: "{it} is more than chance, and the whole interval lies beyond {smallest}, the smallest gain worth the training.",
    GAIN: "{it} is more than chance; whether it reaches {smallest}, the smallest gain worth the training, is open.",
    OPPOSITE: "{it} is more than chance, and against what was wanted.",
    SMALL: "{it} is smaller than {smallest}, the smallest gain worth the training.",
}
CANNOT_TELL = "This study cannot tell {low} from {high}."
CHANGED = "After the training, {outcome} was {amount} {higher} than before ({interval}; {people})."
MOVED_WITHOUT = "Between two baselines, without the training, it moved by {change} ({interval})."
MOVED_UNKNOWN = "We do not know how much it moves without training: there is one baseline only."
BEYOND_ERROR = "{beyond} of {people} changed by more than the error of the test allows ({limit})."
NOT_ITS_EFFECT = "Nobody went without the training, so we cannot call the change its effect: season, habit and learning move values too."
PAUSE = "The study pauses. Tell the ethics committee: {reasons}."

# methods
SESSIONS_A_WEEK = ", {sessions} sessions a week"
ONE_GROUP = (
    "One group was measured before and after {what}{span}. Nobody went without it, so changes stand beside "
    "the change between baselines and are not read as an effect."
)
ONE_GROUP_TESTS = (
    "Mean changes are paired differences with t intervals. One athlete's change is held against 1.96 √2 typical errors."
)
DESIGN = (
    "Design: {design}. The trained group added {what}{span} to its usual training; the control group kept the"
    " usual training. {how}"
)
AS_ALLOCATED = (
    "Everyone was analysed as allocated: follow-up on group and mean baseline{covariates}, with HC2 standard "
    "errors and Bell-McCaffrey degrees of freedom."
)
ALL_ALLOCATIONS = (
    "We compared the studentised coefficient with all allocations that could have been drawn. We claim a "
    "difference only where the interval and this test agree, Holm-adjusted over the primary outcomes."
)
NOT_USED_WITH_FEW = (
    "Two one-sided tests ask whether an effect is smaller than what matters; with fewer than twelve athletes "
    "a group we do not use them. With fewer than twenty a group we do not say who responded."
)

# results
CONDITIONS_DIFFERED = "The evenings before and after differed: {conditions}."
DIFFERENCE = (
    "{Outcome}: {trained} trained and {control} control athletes had baseline and follow-up. Trained minus "
    "control, given the baseline: {difference} ({interval}), df = {df}, p {p}."
)
EXACT = (
    "Of {allocations:,} allocations ({how}), {as_extreme} had as large a studentised difference, p {p}; "
    "Holm-adjusted p {adjusted}. {verdict}"
)
EXPLORATORY = "This is exploratory: {reasons}."
NO_FOLLOW_UP = "Without a follow-up: {missing} of {allocated} ({reasons})."
TIPS = (
    "The claim would no longer hold if the unmeasured trained athletes had ended {size} worse than the model expects."
)
NEVER_TIPS = "No follow-up of the unmeasured trained athletes, however poor, would change the claim."
REGRESSION = "Regression to the mean alone would move an athlete who starts one SD low by {size}."
TOO_FEW_TO_TELL = "Too few athletes to tell whether they responded differently."
TOO_FEW_WITH = "Too few athletes to tell whether they responded differently: {numbers}."
RESPONSES = "SD of individual responses {sd} (MOVER {mover}; normal {normal})"
DIFFERED = "Responses differed between athletes: {numbers}. One change each does not show who responds."
NOT_DIFFERED = "Different responses were not shown: {numbers}."
AFTER_MINUS_BEFORE = "{Outcome}: after minus before {change} ({interval}), n = {people}."
BETWEEN_BASELINES = "Between the baselines {change} ({interval}; n = {people})."
DETECTABLE = "Smallest detectable change of one athlete {amount} (typical error {error}, from {source}); {beyond} went beyond it."
A_CHANGE_ONLY = "This describes a change, not an effect of training: nobody went without it."
SESSIONS_DONE = "Of {planned} planned sessions the trained group did {done} on average ({share})."
IN_TARGET = "Recorded sessions held {minutes} min in the target band; a perfect one shows {low} to {high} min."
NOTICED = "Noticed, though nobody changed groups for it: {guards}."
NO_EVENT = "Nobody noted an adverse event in either group."
EVENTS_BY_GROUP = "Adverse events: {trained} in the trained group, {control} in the control group."
EVENTS = "Adverse events: {events}."
RULES_PAUSE = "The rules pause the study and tell the committee: {reasons}."

# what the study does not show
LIMITS_ONE_GROUP = "This study does not show that training caused a change, who responds, or what sparring alone does."
LIMITS = (
    "This study does not show that one protocol is better, that capacity caused the lower heart rate, or who responds. It says "
    "nothing about winning, injury or energy, nor that sparring alone does nothing: nobody stopped sparring."
)

# one athlete
OWN_CHANGE = "{Outcome}: {change} from before to after. We do not know how far the test alone moves a value."
OWN_CHANGE_WITHIN = "{Outcome}: {change} from before to after. That is within the error of the test ({limit})."
OWN_CHANGE_BEYOND = (
    "{Outcome}: {change} from before to after, more than the error of the test alone ({limit}). One change "
    "does not show its cause."
)

# planning
FINDS = (
    "{n} and {n} athletes find a true gain of {shares} of 100 studies; the 95\N{NO-BREAK SPACE}% interval "
    "reaches {half_width} to each side."
)
NO_EQUIVALENCE = (
    "They cannot show that there is no effect: if the training does nothing, only {studies} of 100 studies "
    "would show that the effect is below {smallest}."
)
ASSUMED = "Assumed: SD between athletes {between}, typical error {error}, {baselines}, {followups}, {lost} lost."
NO_BAND = (
    "At {years} years a prediction of {predicted} bpm puts the middle of the band at {middle}. For {inside} of 100 people that "
    "lies inside their own band, for {low} too low, for {high} too high; for {above} the upper end exceeds their true maximum."
)
NO_INTERVAL = "no interval: no scatter"

DESIGN_WORDS = {
    "parallel": "two groups side by side",
    "delayed_start": "two groups, one of which trained later",
    "matched_pairs": "matched pairs, one of each pair trained",
    "before_after": "one group before and after",
}
