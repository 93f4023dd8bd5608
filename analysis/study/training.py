"""The training study in a folder: [training] of study.toml, the record of the draw, and what does not fit in its tables."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from itertools import pairwise
from pathlib import Path

import pandas as pd

from ..basics import KitError, Result, did_you_mean, join_words
from ..physiology import training_protocols
from .columns import lines_of, place, table_columns
from .fixing import write_whole
from .inventory import inside_folder, leads_out
from .problems import Findings
from .settings import SETTINGS_FILE, Settings

DESIGNS = ("parallel", "delayed_start", "matched_pairs", "before_after")
CROSSOVER = (
    "A crossover is not offered: what training gave stays for months, so the second period would not start from where the first "
    "did. Take parallel or delayed_start."
)
RECORD_FILE = "allocation_record.json"
"""What is public about the draw: written by `allocate`, never changed by hand."""
KEYS = (
    "design", "protocol", "weeks", "sessions_per_week", "strata", "public_number_named", "smallest_capacity_gain",
    "smallest_capacity_reason",
)  # fmt: skip
PROPOSED_GAIN = 2.0
PROPOSED_REASON = "our proposal: would you add eight weeks of intervals for less?"
LEAST_DAYS_APART = 7
FILES = "training_recordings"
"""Recordings of training sessions lie here, apart from those of the sparring evenings."""


@dataclass(frozen=True)
class TrainingDesign(Result):
    """[training] of study.toml, completed."""

    design: str = "parallel"  # "parallel", "delayed_start", "matched_pairs" or "before_after"
    protocol: str = ""  # A name of the catalogue, or the club's own word
    weeks: float = float("nan")
    sessions_per_week: float = float("nan")
    # Columns of the athletes table within which groups are balanced, the most important first
    strata: tuple[str, ...] = ()
    public_number_named: str = ""  # Which number the draw will take, in words written before it exists
    public_number: str = ""  # That number, from [allocation]; "" where it is not there yet
    smallest_capacity_gain: float = PROPOSED_GAIN  # In the unit of capacity
    smallest_capacity_reason: str = PROPOSED_REASON


def read_training(settings: Settings, findings: Findings) -> TrainingDesign | None:
    """Read [training] and [allocation] of study.toml; None where there is no [training]."""
    section, drawn = settings.get("training"), settings.get("allocation", {})
    if section is None:
        return None

    def complain(key, value, problem, remedy):
        row = settings.line_of("training", key) or settings.line_of("training")
        findings.problem(SETTINGS_FILE, row, key, value, problem, remedy)

    if not isinstance(section, dict) or not isinstance(drawn, dict):
        complain("training", section, "not a section", "write [training], and [allocation], each on a line of its own")
        return None
    for key in section:
        if key not in KEYS:
            near = did_you_mean(key, KEYS)
            complain(key, "", "no such part of [training]", f"write {near or 'one of ' + ', '.join(KEYS)}")
    design = section.get("design", "parallel")
    if design not in DESIGNS:
        near = did_you_mean(str(design), DESIGNS)
        problem = CROSSOVER if "cross" in str(design) else "no such design"
        complain("design", design, problem, f'write design = "{near or "parallel"}"; possible: {", ".join(DESIGNS)}')
        design = "parallel"
    numbers = {"weeks": (float("nan"), 1, 52), "sessions_per_week": (float("nan"), 0.5, 14)}
    numbers["smallest_capacity_gain"] = (PROPOSED_GAIN, 0.01, 30)
    read = {}
    for key, (default, low, high) in numbers.items():
        value = section.get(key, default)
        fits = isinstance(value, int | float) and not isinstance(value, bool)
        if key in section and not (fits and low <= value <= high):
            problem = f"not a number from {low:g} to {high:g}"
            complain(key, value, problem, f"write {key} = 8" if key == "weeks" else f"write {key} = 3")
            value = default
        read[key] = float(value)
    strata = section.get("strata", [])
    strata = [strata] if isinstance(strata, str) else strata
    known = [c for c in table_columns("athletes") if c in ("sex", "club", "group")]
    wrong = [s for s in strata if s not in known] if isinstance(strata, list) else [strata]
    if wrong:
        problem = "not a column that groups can be balanced within"
        complain("strata", wrong[0], problem, 'write strata = ["sex", "club"]')
        strata = []
    texts = {}
    for key in ("protocol", "public_number_named", "smallest_capacity_reason"):
        value = section.get(key, "")
        if not isinstance(value, str):
            complain(key, value, "not a text", "put it in quotation marks")
        texts[key] = str(value)
    protocols = list(training_protocols()["protocol"])
    near = did_you_mean(texts["protocol"], protocols) if texts["protocol"] else ""
    if near and near != texts["protocol"]:
        problem = f"not in the catalogue; did you mean {near}?"
        remedy = f'write protocol = "{near}", or a word of your own that is further from it'
        complain("protocol", texts["protocol"], problem, remedy)
    return TrainingDesign(
        design=design,
        protocol=texts["protocol"],
        weeks=read["weeks"],
        sessions_per_week=read["sessions_per_week"],
        strata=tuple(strata),
        public_number_named=texts["public_number_named"],
        public_number=str(drawn.get("public_number", "")).strip(),
        smallest_capacity_gain=read["smallest_capacity_gain"],
        smallest_capacity_reason=texts["smallest_capacity_reason"] or PROPOSED_REASON,
    )


def has_phases(tables) -> bool:
    """Say whether tests or evenings carry a phase before and one after."""
    found = {*tables["aerobic_tests"]["phase"], *tables["sessions"]["phase"]}
    return {"pre", "post"} <= found


def check_training(
    folder: Path, tables: dict[str, pd.DataFrame], design: TrainingDesign | None, findings: Findings
) -> None:
    """Name what does not fit in the tables of a training study."""
    groups = tables["allocation"]
    if len(groups) and design is None:
        remedy = 'write [training] with design = "parallel", or the allocation is not analysed'
        findings.remark_of(groups.iloc[0]["file"], "groups without a section [training] in study.toml", remedy)
    protocols = list(training_protocols()["protocol"])
    for line in lines_of(tables["training_log"]):
        near = did_you_mean(line.protocol, protocols) if line.protocol else ""
        if near and line.protocol not in protocols:
            problem, remedy = f"not in the catalogue; did you mean {near}?", f"write {near}, or a word of your own"
            findings.problem(*place("training_log", line), "protocol", line.protocol, problem, remedy)
        if line.recording and (leads_out(line.recording) or inside_folder(folder, line.recording, FILES) is None):
            problem, remedy = f"there is no such file in {FILES}/", f"put the file into {FILES}/"
            findings.problem(*place("training_log", line), "recording", line.recording, problem, remedy)
    for table in ("aerobic_tests", "sessions"):
        for line in lines_of(tables[table]):
            if line.phase == "" and line.occasion == line.occasion:
                problem, remedy = "an occasion without a phase", "write pre or post in the column phase"
                findings.problem(*place(table, line), "occasion", line.occasion, problem, remedy)
    _check_tests(tables["aerobic_tests"], findings)
    arms = {line.athlete for line in lines_of(groups)}
    tested = {line.athlete for line in lines_of(tables["aerobic_tests"]) if line.phase == "post"}
    for code in sorted(tested - arms) if arms else ():
        noticed = "a test after the training of an athlete outside the groups"
        remedy = "nothing, if that is meant: it does not count in the comparison"
        findings.remark_of("aerobic_tests", noticed, remedy, column="athlete", value=code)


def _check_tests(tests: pd.DataFrame, findings: Findings) -> None:
    seen: dict[tuple, object] = {}
    dates: dict[str, list] = {}
    for line in lines_of(tests):
        if line.phase in ("", "familiarisation"):
            continue
        occasion = 1 if line.occasion != line.occasion else int(line.occasion)
        before = seen.setdefault((line.athlete, line.phase, occasion), line)
        if before is not line:
            problem = f"the same phase and occasion as row {place('aerobic_tests', before)[1]}"
            remedy = f"write occasion {occasion + 1} for another day, or set one aside in decisions"
            findings.problem(*place("aerobic_tests", line), "occasion", str(occasion), problem, remedy)
        if line.phase == "pre" and line.date:
            dates.setdefault(line.athlete, []).append(line)
    for lines in dates.values():
        days = sorted(lines, key=lambda one: one.date)
        for first, then in pairwise(days):
            apart = (pd.Timestamp(then.date) - pd.Timestamp(first.date)).days
            if 0 <= apart < LEAST_DAYS_APART:
                problem = f"a baseline {apart} days after the one before; at least a week lets fatigue go"
                remedy = "nothing; it is said in the write-up of the study"
                findings.remark(*place("aerobic_tests", then), "date", then.date, problem, remedy)


def write_record(folder: Path, content: dict) -> Path:
    """Write the record of the draw: once, never over another."""
    path = Path(folder) / RECORD_FILE
    text = json.dumps(content, indent=1, ensure_ascii=False, sort_keys=True) + "\n"
    try:
        write_whole(path, text.encode(), over=False)
    except FileExistsError:
        raise KitError(f"{path.name} is there already: athletes were allocated before, and are not again.") from None
    return path


def add_to_record(folder: Path, late: dict) -> None:
    """Add a late joiner to the record of the draw."""
    path = Path(folder) / RECORD_FILE
    content = read_record(folder)
    content["late"] = [*content.get("late", []), late]
    text = json.dumps(content, indent=1, ensure_ascii=False, sort_keys=True) + "\n"
    write_whole(path, text.encode())


def _refuse_other_kinds(record: dict) -> None:
    """Raise where a value of the record is of another kind than the kit writes."""
    texts = [record[name] for name in ("date", "plan_sha256", "design", "sealed_sha256")] + [*record["strata"]]
    people = [*record["baselines"], *record.get("late", ())]
    names = {"athlete", *record["strata"]}
    plain = all(isinstance(v, str | int | float | None) for one in people for v in one.values())
    if not (all(isinstance(t, str) for t in texts) and plain and all(names <= set(one) for one in people)):
        raise TypeError
    if not isinstance(record["public_number"], str | int):
        raise TypeError


def read_record(folder: Path) -> dict | None:
    """Read the record of the draw; None where nobody was allocated by the kit."""
    path = Path(folder) / RECORD_FILE
    if not path.is_file():
        return None
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        wanted = ("date", "plan_sha256", "public_number", "design", "strata", "baselines", "sealed_sha256")
        missing = [key for key in wanted if key not in content]
        if not missing:
            _refuse_other_kinds(content)
    except (OSError, ValueError, TypeError, AttributeError, RecursionError) as error:
        raise KitError(f"{RECORD_FILE} cannot be read ({type(error).__name__}): put the original back.") from None
    if missing:
        raise KitError(f"{RECORD_FILE} lacks {join_words(missing)}: put the original back.")
    return content


TRAINING = (
    "Athletes are allocated once, when consent, clearance and all baselines are in. All balanced allocations within strata are "
    "listed, those whose baseline means differ by at most 0.2 SD are kept (more where fewer than 100 remain), and one is drawn.",
    "Everyone is analysed as allocated: follow-up on group and mean baseline, HC2 standard errors, Bell-McCaffrey degrees of "
    "freedom; beside it the studentised coefficient over the kept allocations. A claim needs both, after Holm over capacity and "
    "sparring heart rate.",
    "No confirmatory claim is made where more than 20 % have no follow-up, or twice as many in one group, or fewer than six "
    "pairs are whole. Nobody is moved between groups for what was trained.",
)
TRAINING_BEFORE_AFTER = (
    "One group is measured before and after. Nobody goes without the training, so changes are described beside the change "
    "between baselines and are never called its effect.",
)
TRAINING_SAFETY = (
    "Screening is repeated before week 1 and after any illness; any heart, chest, fainting or family sudden-death answer goes "
    "to a doctor. The first session is done at 70 to 80 % of full effort. All-out work is supervised, with first-aider and "
    "defibrillator.",
    "The study pauses, and the committee is told, after any cardiac event, exertional collapse or dark urine, or two injuries "
    "needing care in one group (proposal of the kit). Harms of both groups are reported in one table.",
)
"""The section on assigned training."""


def plan_part(design: TrainingDesign | None) -> tuple | None:
    """What a plan says of assigned training: paragraphs and a table; None where none is assigned."""
    if design is None:
        return None
    drawn = (
        f"The number that decides the draw is named here before it exists: {design.public_number_named}."
        if design.public_number_named
        else "No public number is named; a draw made later cannot be checked from outside."
    )
    said = TRAINING if design.design != "before_after" else TRAINING_BEFORE_AFTER
    values = {k: v for k, v in asdict(design).items() if k != "public_number"}
    lines = [(name.replace("_", " "), _plain(value)) for name, value in values.items()]
    return (drawn, *said, *TRAINING_SAFETY), pd.DataFrame(lines, columns=["Part", "Planned"])


def _plain(value) -> str:
    if isinstance(value, tuple):
        return join_words(value) or "none"
    if isinstance(value, float):
        return f"{value:g}" if value == value else "not fixed"
    return value or "none"
