"""The phrases about planning, apart from the logic that chooses among them: change any of them here.

Words in braces are filled in from results.
"""

from __future__ import annotations

# who spars whom, and when
EVERYBODY = "Everybody spars"
PAIRS_SET = "Pairs are set"
IN_EACH = "{lead} in each of {rounds}"
SAME_OPPONENT = ", with the same opponent all evening"
MORE_THAN_ONCE = "; {pairs} more than once"
NEW_OPPONENT = ", with a new opponent every time"
MISSES = "{misses} rounds as you said."
SOMEBODY_ELSE = "each time somebody else"
SOME_AGAIN = "some more than once"
SITS_OUT = "In {rounds} somebody sits out, {turns}."
WEIGHTS = "Opponents differ by {median} in the median and by {most} at most."
ONE_MAT = "One mat"
TOGETHER = "start together"
ONE_AFTER_OTHER = "start one after the other"
EVENING = "{lead}; {rounds} with their rests take {minutes}."
SAMPLED = "With {stations} and {start}, {measured} of {athletes} can be sampled on time after every round"
SAMPLED_STAGGERED = "; with staggered starts and one opponent all evening it would be {measured}"
NOTHING_TO_WATCH = "Nothing to watch for."

# a repeat of a published correlation
NEEDED_SHRUNK = "{n} if chance flattered it, as it does in small studies"
NEEDED_NEVER = "no number that we could name if chance flattered it, since almost nothing is then left"
REPEAT = (
    "Repeating the published finding of {athletes} takes {as_published} athletes if it is exactly true, and "
    "{shrunk}. Showing that the truth is smaller than that study could have seen takes {detect}."
)
SHRUNK = "shrunk to the limit of its 60 % interval nearer to zero"
FRACTION = "at the fraction that would still matter"
POWER_AT = "{n} athletes have a power of {power}"
NO_SIZE = "no size can be justified"
PUBLISHED = "The published correlation is r = {r} (n = {n}): {sizes}."
COULD_DETECT = (
    "That study had 33\N{NO-BREAK SPACE}% power to detect r = {r}; {n} athletes would show with a power of "
    "{power} that the effect is smaller, if there is none"
)
EXPECTED = (
    "({n}: {chance}). If both studies share one truth, expect a correlation between {span} from {n} athletes "
    "(95\N{NO-BREAK SPACE}% prediction interval)"
)

# simulated studies
SAW_CHANGE = "saw that heart rate changes over the rounds"
FOUND_LEVEL = "found where it stops changing"
SAW_FITNESS = "saw a relation with fitness"
NOTHING_ASKED = "Not one of the {studies} invented studies with {athletes} could answer a question."
OF_INVENTED = "Of {studies} invented studies like yours, each begun by {athletes}, {found}."
FLATTERED = (
    "Those that saw a relation with fitness made it {times} times as large as it is: a striking result from a"
    " small club is mostly luck."
)
POWER_WHERE = "in {chance} where {rounds} (the formula says {formula})"
NOT_ALIKE = (
    "Where rounds are not all alike, studies with {athletes} would show the smallest effect that matters {shares}"
)
FORMULA_PROMISES = "; the formula promises too much"

# what a number of athletes can answer
CAN_ANSWER = "With {athletes} who stay to the end, the study {can}."
ASK_MORE = "Ask {athletes}, since some will leave."
LOOKS = (
    "You may look with {sizes} athletes, and at no other number. A change over the rounds has to reach {first} at the first "
    "look and {last} at the last. Then all looks together make a false claim in {alpha} of studies or fewer."
)
PLANS_FOR = "The study plans for {athletes} who complete {rounds}. All tests are two-sided at {alpha}."
RECRUIT = "To keep that number, we ask {athletes}, if {leave} leave before each next round."
FROM_PLAN = "Taken from the plan: {values}."
TOO_SMALL = (
    "This number is too small to show the smallest effect that matters in 80 of 100 such studies for "
    "{questions}. We will report these results as estimates with their intervals, and will not read a result "
    "that is not significant as the absence of an effect."
)
ASSURED = "{question} {clear} (from {low} to {high} in 80 of 100 draws; shown at the assumed values, with rounds missing: {assumed})"
ASSURANCE = (
    "The literature and the club leave {open} open, missing rounds and athletes who leave among them. Averaged over {draws} "
    "draws, the chance of a clear answer (an effect shown, or shown to be too small to matter) is: {answers}."
)
ASSUMED_OF = "{name}, {between} between athletes and {within} within an athlete from round to round"
TEST_RETEST = (
    "We assume that the fitness test spreads the athletes by {spread} and scatters around an athlete's true "
    "capacity by {error}, which shrinks both slope and correlation."
)
TEST_PREDICTION = (
    "We assume that the fitness test spreads the athletes by {spread} and predicts capacity with a standard "
    "error of {error}, which shrinks the correlation and leaves the slope."
)
TEST_NONE = "We assume that the fitness test spreads the athletes by {spread}, without error."
KIT_SIZES = "These are the kit's proposals, inside the published ranges where there are any."
OWN_SIZES = "These sizes are the authors' own."
ASSUMED = "Assumed standard deviations: {texts}. {test} {whose}"
POWER_ROUNDS = "{chance} for {what} (80\N{NO-BREAK SPACE}% from {n}; detectable: {detectable})"
POWER_OF = "For {outcome}, the power is {power}."
HOW_ROUNDS = (
    "{texts} The sizes come from the noncentral F distribution (all rounds), the strictest level of Holm's method (a step), the "
    "distribution of the range of round means (a plateau) and the efficiency of the rank test (ratings). They assume complete "
    "data and rounds that correlate equally, which overstates the power where neighbouring rounds resemble each other."
)
NO_SIZE_FITS = "no size that fits the assumed spread"
TO_EXPECT = "; interval to expect: ± {half_width}"
POWER_FITNESS = "{chance} for a {part} of {smallest} (80\N{NO-BREAK SPACE}% from {n}; detectable: {detectable}{width})"
POWER_FITNESS_OF = "For fitness and {outcome}, the power is {power}."
ADJUSTED = "The heart-rate slope is adjusted for {names}."
HOW_FITNESS = (
    "{texts}{adjusted} These powers come from the exact distribution of the (partial) correlation of athlete "
    "means under the bivariate normal, after the error of the fitness test has shrunk it."
)
FIRST_TO_LAST = "{amount} from the first round to the last"
ONE_TO_NEXT = "{amount} from one round to the next"
LEVEL_WITHIN = "a level stretch, shown to within ±{amount}"
MORE_THAN_500 = "more than 500 athletes"

PARTS = {
    "change": "a change over the rounds",
    "steps": "a step from one round to the next",
    "plateau": "where it stops changing",
    "slope": "how much lower it is in fitter athletes",
    "correlation": "a correlation with fitness",
}
CAN = ("can show {}", "can show the following only where the effect is large: {}", "cannot show {}")
"""For the verdicts in their order."""
STARTS = {"common": "a common start", "staggered": "staggered starts"}
