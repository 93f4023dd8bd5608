"""The phrases about published findings, apart from the logic that chooses among them: change any of them here.

Words in braces are filled in from results: {paper} is the name of the finding, {outcome} what was measured, {theirs} and
{ours} the two values, {low} and {high} what was to be expected of a study of our size, {people} our athletes.
"""

from __future__ import annotations

# one published correlation
BESIDE = "For {outcome}, {paper} found r = {theirs} ({n} athletes); ours is {ours} ({people})."
FITS_LITTLE = "The two fit, but that says little: with {people}, anything from {low} to {high} would have fitted."
FITS = "The two fit: we expected anything from {low} to {high}."
WEAKER = "Ours is weaker than chance explains: we expected anything from {low} to {high}."
STRONGER = "Ours is stronger than chance explains: we expected anything from {low} to {high}."
OTHER_WAY = (
    "Ours goes the other way: in our club fitter athletes were {side}, in the paper {paper_side}. We expected anything from "
    "{low} to {high}, so chance alone is unlikely."
)
WHY_APART = "Other reasons: {aspects} differ, and the fitness test may."
WHY_UNKNOWN = "The fitness tests or the athletes may differ."
HIGHER, LOWER = "higher", "lower"

NO_DIRECTION = "The published value has no direction to confirm."
SAME_WAY = "Our own data alone show a relation in the same direction."
OTHER_DIRECTION = "Our own data alone show a relation in the other direction."
OWN_OPEN = "Our own data alone cannot tell whether there is a relation."

BOUND = "For {outcome}, {paper} gives only a bound on p. With {n} athletes that means r of {size} or more, either way; ours ({ours}) is {where} in size."
INSIDE, BELOW = "within that range", "below that"
ONLY_P = "For {outcome}, {paper} gives only p. With {n} athletes that means r of {size}, either way; ours is {ours}."

SLOPE_APART = "For {outcome}, our slope ({ours} {per}) and that of {paper} ({theirs}) differ (difference {span}): other athletes, rounds or tests may be why."
SLOPE_OPEN = "For {outcome}, our slope ({ours} {per}) was not shown to differ from that of {paper} ({theirs}; difference {span})."

# round by round
APART = "Our {outcome} differed from that of {paper} in {rounds}."
APART_SOME = "Our {outcome} differed from that of {paper} in {rounds}, and was not shown to differ in {others}."
NOT_APART = (
    "Our {outcome} was not shown to differ from that of {paper} in any of {rounds}: differences from {span} fit."
)
NO_SPREAD = "{paper} gives no spread of {outcome}, so ours cannot be tested against it."
ABOVE_BY, BELOW_BY = "above by {size}", "below by {size}"

# protocols
DIFFERS = "{paper} differs from ours in {aspects}."
NOT_STATED = "{paper} or our study does not state {aspects}."
SAME_PROTOCOL = "{paper} states the same protocol as ours."
ANOTHER_STUDY = "Other rounds or rests make another study: the results may differ for that reason alone."

NO_RELATION = "We could set no published relation with fitness beside ours."
NO_MEAN = "We could set no published round mean beside ours."

# verdicts of a few words
VERDICTS = {
    "consistent": "Fits",
    "little": "Fits, but so would almost anything",
    "smaller": "Weaker than in the paper",
    "larger": "Stronger than in the paper",
    "opposite": "Goes the other way",
}

# for the write-up
ABSTRACT = {
    "consistent": "Our correlation of fitness with {outcome} ({ours}) fits the published one ({theirs}).",
    "little": "Our correlation of fitness with {outcome} ({ours}) fits the published one ({theirs}), as almost any would have.",
    "smaller": "Our correlation of fitness with {outcome} ({ours}) is weaker than the published one ({theirs}), beyond chance.",
    "larger": "Our correlation of fitness with {outcome} ({ours}) is stronger than the published one ({theirs}), beyond chance.",
    "opposite": "Our correlation of fitness with {outcome} ({ours}) goes the other way than the published one ({theirs}).",
}
REPORTED = "{paper} reported {kind} of fitness with {outcome} of {theirs}, n = {n}."
KIND, KIND_RANKS = "a correlation", "Spearman's correlation"
OURS = "Ours was {ours}, p {p}, n = {n}: {inside} the 95 % prediction interval ({expected})."
IN, OUT = "inside", "outside"
DETECT_SMALLER = "It was smaller than the earlier study had 33 % power to detect (r = {size}, p {p})."
DETECT_OPEN = "It was not shown to be smaller than what the earlier study had 33 % power to detect (r = {size}, p {p})."
COMBINED = "The {count} correlations with {outcome}, ours included, combine to {both} ({athletes} athletes)."
PROFILE_ALL = "{paper} (n = {n}) reported {outcome} by round; ours was not shown to differ in any of {rounds}."
PROFILE_SOME = "{paper} (n = {n}) reported {outcome} by round; ours differed in {differ} of {rounds}."
STEPS_OPEN = "The changes from round to round were not shown to differ."
STEPS_DIFFER = "Ours changed differently {steps}."
ONE_STEP = "from round {earlier} to {later} ({ours} against {theirs}; difference {difference})"

# what may and may not be said
MAY_FITS = "{what}: ours fits the published correlation."
MAY_WEAKER = "{what}: ours is weaker than the published correlation, beyond chance."
MAY_STRONGER = "{what}: ours is stronger than the published correlation, beyond chance."
MAY_OTHER = "{what}: ours goes the other way than the published correlation, beyond chance."
MAY_MEANS = "How our round means lie beside the published ones, with their intervals."
MAY_NOT_RIGHT = "That the earlier study was right or wrong: two small studies cannot settle that."
MAY_NOT_SAME_FITNESS = "That both studies measured the same fitness: look at how the paper measured it."
MAY_NOT_CONFIRM = "That we confirmed it ({what}): almost any result would have fitted."
MAY_NOT_NOTHING = "That fitness counts for nothing in our club ({what}): our interval holds zero and much else."
MAY_NOT_ATHLETES = (
    "That a difference in round means comes from the athletes: protocols, samples and analysers differ too."
)
