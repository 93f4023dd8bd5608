"""The phrases about the study itself, apart from the logic that chooses among them: change any of them here.

Plan, size, methods, limitations, and what stands on the first screen. Words in braces are filled in from results.
"""

from __future__ import annotations

# the first screen
TRUST_NONE = "No heart rate was recorded."

PARTLY = "{Outcome}: only {rounds} can be passed on, since the others rest on fewer than {few} people."

HARDER = "Do the rounds get harder?"
LEVEL = "Do they level off?"
FITTER = "Do fitter athletes run lower?"
LIKE_THE_PAPER = "Like the paper?"
TRAINED = "Did the added training change anything?"
UNKNOWN_CAUSE = "A change, of unknown cause"
A_REST = "What does a rest give back?"
EACH_ATHLETE = "Each athlete"
CANNOT = "What this cannot decide"
CANNOT_DECIDE = "Why: rounds come in order, and fitness was not assigned. {clubs}, {evenings}."
ALL_EXPLORATORY = "All of this is exploratory: {why}."
CAUTION = "Before shorter rests or more rounds: only athletes cleared to spar, and a first-aider present."
SESSIONS = "How hard are the sessions?"

SHORT_NAMES = {"heart_rate": "heart rate", "lactate": "lactate", "exertion": "exertion"}

SHOWN = "Shown"
SHOWN_FOR = "Shown for {outcomes}"
TOO_SMALL = "Shown to be too small to matter"
TOO_SMALL_FOR = "Shown to be too small to matter for {outcomes}"
CANNOT_TELL = "We cannot tell yet"
AGAINST = "Shown, but the other way"
NOT_MEASURED = "Not measured"

LEVEL_OF_INTERVAL = "95 % interval "
FROM_TO = "From round {first} to round {last}, {changes}."
OPEN_SHORT = "{Outcome}: we cannot tell; anything from {low} to {high} fits."
CANNOT_TELL_OF = "{Outcome}: we cannot tell."
NONE_LEVEL = "No stretch of rounds was shown to be level in {outcomes}."
OF_OUTCOME = "{Outcome}: {weighed}"
REPEATS_VERDICT = "We cannot tell yet whether fitter athletes run lower. "
OTHER_FITNESS = "{Outcome}: anything from {low} to {high} fits."
BESIDE_PAPER = "{paper} found r = {theirs}; ours is {ours}."
EXPECTED_OF_OURS = "Anything from {expected} would have fitted."

REST_END = "At its end, heart rate was {first} beats (after round {round})."
REST_ENDS = "At its end, heart rate was {first} beats after round {round} and {last} after round {later}."
REST_MINUTE = "In its first minute heart rate fell by {first} beats."
REST_MINUTES = "In its first minute heart rate fell by {first} beats, later by {last}."
ATHLETES = "Change from the first to the last round, beside each athlete's own noise."

# plan and size
FIXED = "The plan was fixed on {date} and has a checksum."
AMENDED = "It amends the plan of {date}, before the first measurement ({why})."
NOT_FIXED = "No plan was fixed before the data were collected, so every test below is exploratory, whatever its p."
EXPECTED_RISE = "We expected {outcomes} to rise over the rounds."
EXPECTED_FALL = "We expected {outcomes} to fall over the rounds."
EXPECTED_LOWER = "We expected fitter athletes to have a lower {outcomes}."
EXPECTED_HIGHER = "We expected fitter athletes to have a higher {outcomes}."
KIT_DIRECTIONS = (
    "No direction was written down; the kit's own are taken: rising over the rounds, lower in fitter athletes."
)
CONFIRMATORY = "The confirmatory questions are: {questions}."
CONFIRMATORY_ALL = "All {count} questions are confirmatory."
EXPECTED = "It holds the expectations that stand in the introduction."
EXPECTED_UNFIXED = "The expectations stand in the introduction."
CONFIRMATORY_ONE = "The one confirmatory question is {questions}."
EXPLORATORY = "Exploratory ({why}): {questions}."
NOT_CLAIMED = "Tested together with {others} by Holm's method, p {p}: by the plan the effect is not claimed."
SMALLEST = "The smallest change that matters is {sizes}."
SMALLEST_BY_KIT = "The smallest change that matters is {sizes}, as the kit proposes."
POWER = "With {people} and {rounds}, these were the chances to show an effect just large enough to matter, under the assumptions {whose}."
POWER_CHANGE = "A change over the rounds: {shares}."
POWER_FITNESS = "A difference between fitter and less fit athletes: {shares}."

# methods
MODEL = (
    "We compared each outcome over the rounds in a linear mixed model with a fixed effect of round and a random intercept for "
    "each athlete, fitted by restricted maximum likelihood. Standard errors and degrees of freedom are Kenward-Roger's (Kenward "
    "and Roger, 1997). Rounds of one athlete never count as independent; athletes with a missing round stay in the analysis."
)
BOUTS = "Where both of a bout were measured, the model lets them correlate; degrees of freedom are then at most athletes less one."
CLAIM = (
    "The model takes all pairs of rounds as equally related. We therefore claim a change only where the test also holds with "
    "the correction of Greenhouse and Geisser (1959) and with cluster-robust (CR2) contrasts (Pustejovsky and Tipton, 2018). "
    "Of the two intervals and p values we print the wider and the larger."
)
STEPS = (
    "We claim a step, or the change from the first round to the last, only inside a change over all rounds and after the "
    "sequential adjustment of Shaffer (1986). Together they err in no more than {level} of studies without a change. Intervals "
    "are not adjusted."
)
EQUALITY = (
    "A difference that is not significant is no equality. Two rounds are equivalent only where two one-sided tests "
    "put their difference inside the smallest change that matters (Schuirmann, 1987). An outcome is level from "
    "the first round from which every pair is equivalent."
)
RATINGS = (
    "Ratings of exertion have an order but no equal steps. We decided on change by shuffling them within athletes, "
    "which keeps athletes with missing rounds; Friedman's test stands beside it."
)
OFF_SCALE = "Readings beyond the analyser's scale enter the model as lying beyond its end (censored)."
FITNESS = (
    "Whether fitter athletes respond less is a question about athletes, not rounds. We took the slope of the outcome "
    "on aerobic capacity between athletes, in {model}, adjusted as stands with each result. "
    "It is printed for athletes {step} apart, beside Pearson's correlation over athletes (Fisher's interval)."
)
SAME_MODEL = "the same mixed model"
FITNESS_MODEL = "a linear mixed model with a random intercept for each athlete and Kenward-Roger degrees of freedom (Kenward and Roger, 1997)"
PUBLISHED = (
    "We judged agreement with a published finding by whether our estimate lies in its prediction interval "
    "(Spence and Stanley, 2016), and by what the earlier study could have detected (Simonsohn, 2015)."
)
LEVELS_OF_TESTS = (
    "Tests are two-sided at {alpha}, also where a direction was expected. Values are mean and standard deviation (SD), "
    "estimates have their 95 % interval, and p values are exact unless below .001."
)
SOFTWARE = "We ran the analysis with the club sparring study kit {kit} in Python {python}, seed {seed}; {{table:software}} lists the packages."

# conditions
ROLL_CALL = "{table:roll_call} counts what was noted at roll call."
WEIGHED = (
    "{people} lost {lost} of their body mass on average. By the published average that explains at most about {rise} of a rise "
    "in heart rate over the evening ({source}, measured in the heat)."
)

# limitations
ONE_GROUP = "The study describes {clubs}. Its athletes were not drawn at random, so we do not know how far the results hold elsewhere."
ORDER = (
    "The rounds came in the same order for everyone. A change over the rounds cannot be separated from warming up, fatigue, "
    "the time of the evening or the choice of opponents. The two athletes of a bout share what happened in it."
)
NOT_ASSIGNED = (
    "Fitness was not assigned. Fitter athletes may differ in weight, skill, age and style of sparring, so a relation does not "
    "show what training would do."
)
ROUGHLY = "With {people} a correlation is known only roughly."
ESTIMATED = "For {who} athletes capacity was estimated, not measured, which makes a correlation look weaker than it is."
TEST_READS_RATE = "In {people} the test itself uses heart rate, which can create a relation with heart rate in sparring where there is none."
RATE_IS_NOT_UPTAKE = (
    "Heart rate in grappling overstates oxygen uptake: isometric holds, heat, arousal and dehydration raise it without more "
    "aerobic work."
)
LACTATE_DELAY = (
    "Lactate goes on changing after a round. Samples were taken {low} to {high} after it, which adds scatter, and may add a "
    "trend where later rounds were sampled later."
)
CONTACT = "Sensors lose contact in clinches and on the ground, when effort may be highest. A mean over what is left may be too low."
NO_MAXIMUM = "For {people} no maximal heart rate was measured; shares of the maximum are given for the others only."
SURVEY = (
    "People chose whether to submit sessions, and which. Those who did may train otherwise than those who did not, and nobody "
    "checked how straps were worn or ages given."
)

# departures
NOTHING_DEPARTED = "Nothing was done otherwise than the fixed plan says."
NO_PLAN = "No plan was fixed before the data: there is none to depart from, and nothing here confirms a plan."
DEPARTED = "The study departed from the fixed plan in {points} ({{table:deviations}})."
NOT_FIXED_DEPARTED = "No plan was fixed before the data. {points} from the study settings ({{table:deviations}})."
DECISIONS = "Each decision by hand stands with its reason in the ledger."

# what only the authors know
DRAFT = (
    "This draft was assembled from the results of the study. What stands in marked paragraphs only the authors know. Read "
    "every sentence before you sign it."
)
ABSTRACT_BACKGROUND = "Background: say in two sentences why you asked."
ABSTRACT_CONCLUSION = "Conclusion: say in one sentence what this means beside the literature."
INTRODUCTION = "Say here, in a few paragraphs, why these questions are worth asking and what is already known."
RECRUITMENT = "Say how you found and asked athletes, who could take part, who examined them, that they agreed."
RECRUITMENT_SURVEY = "Say how you asked people for their sessions, who could send some, that they agreed to this use."
DISCUSSION = (
    "Say here what the results mean beside the literature. Keep to what stands above: what was not shown is not thereby shown "
    "to be absent."
)
STATEMENTS = (
    ("Ethics", "committee and number, or why none was needed; that consent was informed and written"),
    ("Data availability", "where the de-identified data can be had, or why they cannot"),
    ("Author contributions", "who planned, measured, analysed and wrote"),
    ("Funding", "who paid, or that nobody did"),
    ("Competing interests", "of each author, or that there are none"),
    ("Registration", "where and when the plan was registered, if it was"),
)
CONSENT_STATEMENT = "Consent: [that it was informed and written]"
TITLE_PAGE = (
    ("Authors", "all authors, in the order agreed"),
    ("Affiliations", "club, university or school of each author"),
    ("Corresponding author", "name and address for letters"),
    ("Keywords", "four to six"),
)

# where to look
SEE_ROUNDS = "{figure:rounds} shows the athletes, {table:round_means} the means."
SEE_STEPS = (
    "{table:contrasts} gives every step. The supplement gives each test and interval by itself ({table:round_tests}, "
    "{table:contrasts_by_method}, {table:equivalence}), sizes ({table:effect_sizes}) and other ways of analysing ({table:ways})."
)
SHOW = {True: "show the athletes", False: "shows the athletes"}
SEE_FITNESS = (
    "{table:capacity} puts the results side by side. The supplement has all correlations ({table:correlations}), subgroups "
    "({table:slopes}), the error of the test ({table:test_error}) and other analyses ({table:robustness})."
)
SEE_ACTIVITY = "That comes from marking what athletes did ({table:activity}, {figure:pace_fitness})."
SEE_COMPARISON = "{table:comparison} and {figure:comparison} put the correlations side by side."
SEE_PUBLISHED = "The supplement holds the details ({table:evidence}, {table:published_rounds}, {table:published_steps}, {table:protocols})."
SEE_SURVEY = (
    "The supplement says why sessions were set aside ({table:survey_set_aside}), and has typical sessions "
    "({table:survey_typical}), other thresholds ({table:survey_shares}) and other choices ({table:survey_choices})."
)
SEE_TRAINING = "Details stand in {refs}."
SEE_HERE = "This section holds {refs}."

DELAY_GROWS = (
    "Blood was taken later from round to round: about {low} after round {first} and {high} after round {last}. Lactate goes on "
    "rising after a round, so its rise is not due to the rounds alone."
)
STOOD_OUT = "Among what was typed, {asked} unlike the rest: {answered}; {open}. Nothing was changed by itself."
NONE_STOOD_OUT = "No typed value was unlike the rest."
DEMO_IS_OPEN = (
    "**Whose study this is:** the invented demo, “{title}”. For your own, type `{python} -m analysis lab FOLDER` in a terminal; "
    "it opens the notebooks on that folder."
)
STUDY_IS_OPEN = "**Whose study this is:** the folder {folder}{title}."

# what is analysed, and how
CHANGE = "change over the rounds"
RELATION = "relation to fitness"
NOT_ANALYSED = "not analysed; {reason}"
ADJUSTMENT = "{outcome}: adjustment of the relation to fitness"

# typed values that stood out
SETTLED = "{count} settled by a decision to keep or to replace"
NONE_SETTLED = "none is settled by a decision yet"
AS_TYPED = "{count} used as typed, since nobody has answered"
NONE_OPEN = "none is left open"

# the sessions
CONSISTED = "A session consisted of {rounds} ({{table:protocol}})."
GROUP_SPARRED = "The group {group} sparred {rounds}."
SPARRED_IN_PART = "In the analysed session, {rounds} noted rounds were sparred at least in part."
AGAINST_GUESTS = "{rounds} of them {were} against a guest who was not measured."
WITH_REST = "with {minutes} of rest between them"
TIMED = "By the timekeeper's clock the rounds lasted {span}"
TIMED_RESTS = "and the rests {span}."
TOOK_PLACE = "{sessions} took place {when}{where}."
BETWEEN = "between {first} and {last}"
SESSIONS_WERE = "There were {count} sessions{between}."

# what was measured, and how
EXERTION_SCALE = "Perceived exertion was rated after each round on a scale from {scale}."
HEART_RATE = "Heart rate was recorded throughout the session in {people}."
HEART_RATE_TYPED = "Mean heart rates of {people} were read off a device and typed, round by round."
LACTATE = "Lactate was measured in {blood}"
STRIP_LOT = "; strip lot {lot}"
NO_DELAY = "; the delay from the end of the round to the sample was not noted."
AFTER_ROUND = "after the end of the round"
DELAY = "{text}, a median of {median} {after} (range {range}, {samples})."
CAPACITY_BY = "Aerobic capacity was obtained by {tests}."
CAPACITY_BY_TESTS = "Aerobic capacity was obtained by {count} tests ({{table:aerobic_tests}})."
ESTIMATED_AND_MEASURED = (
    "Some values are estimated by published equations and some measured; both are analysed together, each "
    "with the error of its kind."
)
ALL_ESTIMATED = "These values are estimated by published equations and carry their error of prediction."
RATE_ENTERS = (
    "In {which} heart rate itself enters the estimate: such a value and a heart rate in sparring are not independent."
)

# who took part
NOBODY = "Nobody is in the study yet."
TOOK_PART = "{athletes} took part"
AND_SPARRED = ", and {count} of them sparred"
TOOK_PART_OF = "{athletes}{clubs} took part"
THE_OTHERS = "the others ({athletes})"
SEX_OTHER = "other or not stated"
SPARRED_PART = "sparred at least part of a round"
HAD_CAPACITY = "had an aerobic capacity"
HAD_MAXIMUM = "had a measured maximal heart rate"
OF_THESE = "Of these, {said}."

# rests and the next step
REST_FALL = "In the first minute of rest, heart rate fell by {mean} after round {k} (SD {sd}, {who})"
REST_NEXT = "The next round began at {mean} (SD {sd}, {who}, rest after round {k})"
REST_LATER = ", and {by} {mean} after round"
NEXT_FOR_STUDY = "**Next for this study:** {step}"
WRITE_IT_UP = "write it up, with `{python} -m analysis report FOLDER` in a terminal."
NEXT_WAITING = "{needs}; {notebook} is waiting for it."
