"""`build_report`: from a study folder to everything that a reader, a journal or an athlete is given."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Callable
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from ..basics import KitError, plural
from ..basics.parallel import SideBySide
from ..telling.study.sentences import deviations
from .about import versions

MARK = "about.json"
"""The file by which an earlier output of the kit is known; nothing else is ever replaced."""


def build_aside(folder: str | Path, fill: Callable[[Path], None]) -> Path:
    """Let `fill` write a new folder beside `folder`, then put it in its place."""
    folder = Path(folder)
    _refuse_foreign(folder)
    previous = folder.with_name(f".{folder.name}.previous")
    if previous.exists() and not folder.exists():
        previous.rename(folder)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        _remove_leftovers(folder)
        aside = Path(tempfile.mkdtemp(prefix=f".{folder.name}.partial-{os.getpid()}-", dir=folder.parent))
        aside.chmod(0o755)
    except OSError as error:
        raise KitError(f"Cannot write into {folder.parent}: {error.strerror or error}.") from error
    try:
        fill(aside)
        _exchange(aside, folder, previous)
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return folder


def _refuse_foreign(folder: Path) -> None:
    if folder.is_dir() and any(folder.iterdir()) and not (folder / MARK).exists():
        raise KitError(
            f"{folder} holds files that the kit did not write, so it is not replaced. "
            "Move them elsewhere, or choose another place for the output."
        )
    if folder.exists() and not folder.is_dir():
        raise KitError(f"{folder} is a file; the output needs a folder of that name.")


def _exchange(aside: Path, folder: Path, previous: Path) -> None:
    shutil.rmtree(previous, ignore_errors=True)
    if folder.exists():
        try:
            folder.rename(previous)
        except OSError as error:
            raise KitError(_held_open(folder, error)) from error
    try:
        aside.rename(folder)
    except BaseException:
        if previous.exists():
            previous.rename(folder)
        raise
    shutil.rmtree(previous, ignore_errors=True)


def _held_open(folder: Path, error: OSError) -> str:
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        try:
            path.rename(path)
            with path.open("r+b"):
                continue
        except OSError:
            where = path.relative_to(folder.parent)
            return (
                f"{where} is open in another program. Close it and run the report again; "
                "the earlier output is unchanged."
            )
    reason = error.strerror or error
    return f"{folder} could not be replaced ({reason}). The earlier output is unchanged."


def _remove_leftovers(folder: Path) -> None:
    for left in folder.parent.glob(f".{folder.name}.partial-*"):
        if not _in_use(left):
            shutil.rmtree(left, ignore_errors=True)


def _in_use(partial: Path) -> bool:
    """Say whether a folder of an earlier run belongs to a run that still goes on."""
    number = partial.name.split(".partial-")[1].split("-")[0]
    if os.name == "posix" and number.isdigit():
        try:
            os.kill(int(number), 0)
        except ProcessLookupError:
            return False
        except PermissionError:
            return True
        return True
    return time.time() - partial.stat().st_mtime < 3600


READ_ME = """What is in this folder
======================

Written by the kit and replaced whole by the next report: keep nothing of your own here.

To pass on     report.html (the write-up as one page), report.docx (the same for Word), figures/, contact_sheet.html,
               tables/, data_package/ (only those who agreed to sharing; read its codebook first)
For the team   results.json (every estimate, unrounded), ledger.csv (what became of every row), notebooks/, about.json
For one person individual_pages/ (with --individuals): give each to the athlete first, and to nobody else unasked
"""


class Steps:
    """Runs the steps of a report one after the other, says what it does and how long each took."""

    def __init__(self, progress: Callable[[str], object]):
        self.progress = progress
        self.seconds: dict[str, float] = {}

    @contextmanager
    def step(self, name: str):
        """Time what is done inside, under this name."""
        self.progress(name)
        start = time.perf_counter()
        try:
            yield
        finally:
            self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - start

    def show(self) -> None:
        """Say where the time went."""
        self.progress("Where the time went:")
        for name, seconds in sorted(self.seconds.items(), key=lambda pair: -pair[1]):
            self.progress(f"{seconds:8.2f} s  {name}")


def build_report(
    study,
    out_folder: str | Path | None = None,
    *,
    individuals: bool = False,
    notebooks: bool = True,
    strict: bool = False,
    timings: bool = False,
    progress: Callable[[str], object] = print,
) -> Path:
    """Analyse a study and write everything up, into a new folder that takes the place of the old one at the end.

    Parameters
    ----------
    study : path or Answers
        The study folder, or its answers.
    out_folder : path, optional
        Default: `output` in the study folder.
    individuals : bool
        Show codes, and write a page for each athlete: only of those who agreed to it. Default False.
    notebooks : bool
        Run the notebooks and keep them as pages. Default True.
    strict : bool
        Fail where a notebook warns. Default False.
    timings : bool
        Say at the end where the time went. Default False.
    progress : callable
        Takes one line of text per step.

    Returns
    -------
    path
        The page to open.

    Raises
    ------
    KitError
        Where the study has problems, a notebook stops, or the output cannot be replaced. The earlier output is then
        as it was.

    Notes
    -----
    The same input gives the same bytes, dates aside: they stand in about.json alone.

    Examples
    --------
    >>> from analysis.basics import KitError
    >>> try:
    ...     build_report("no such folder", progress=lambda line: None)
    ... except KitError as error:
    ...     print("no such folder" in str(error))
    True
    """
    from ..answers import Answers

    steps = Steps(progress)
    with SideBySide(warm_up) as workers:
        if not isinstance(study, Answers):
            with steps.step("Reading the study"):
                study = Answers.from_folder(study)
        folder = Path(study.study.folder)
        out_folder = Path(out_folder) if out_folder else folder / "output"
        if out_folder.resolve() == folder.resolve():
            raise KitError("The output needs a folder of its own, not the study folder itself.")

        def fill(aside: Path) -> None:
            _fill(aside, study, steps, workers, individuals=individuals, notebooks=notebooks, strict=strict)

        build_aside(out_folder, fill)
    if timings:
        steps.show()
    return out_folder / "report.html"


def warm_up() -> None:
    """Import what the answers and figures need, in a worker that waits for work."""
    import pingouin  # noqa: F401
    import statsmodels.stats.multitest  # noqa: F401


def _fill(
    out: Path, answers, steps: Steps, workers: SideBySide, *, individuals: bool, notebooks: bool, strict: bool
):
    from .notebook_pages import NotebooksAside

    with steps.step("Cleaning the recordings"):
        _ = answers.cleaned, answers.capacity
    workers.share(answers)
    _answer_everything(answers, steps, workers)
    with NotebooksAside(answers, strict=strict, wanted=notebooks) as running:
        _write_up(out, answers, steps, workers, individuals=individuals)
        if notebooks:
            with steps.step("Waiting for the notebooks"):
                runs = running.wait()
            for run in runs:
                _write_text(out / "notebooks" / f"{run.name}.html", run.page)
                steps.seconds[f"notebook {run.name} (beside the rest)"] = run.seconds
    with steps.step("Writing checksums"):
        from .about import describe_output
        from .results_json import json_text

        choices = {"individuals": individuals, "notebooks": notebooks}
        about = describe_output(answers.study.folder, out, seed=answers.seed, choices=choices)
        _write_text(out / "about.json", json_text(about))


def _write_up(out: Path, answers, steps: Steps, workers: SideBySide, *, individuals: bool) -> None:
    from ..telling.document import Picture
    from .document import drawn
    from .html_page import render_html
    from .privacy import Codes
    from .word import write_word

    codes = Codes(answers.study, individuals=individuals)
    with steps.step("Writing sentences and tables"):
        from .document import build_document

        document = codes.hide_in_document(build_document(answers))
    with steps.step("Drawing figures, meanwhile writing tables, results and data package"):
        from ..telling.export import contact_sheet

        pictures = list(document.blocks(Picture))
        last_first = pictures[::-1]  # those take longest
        numbers = partial(_write_numbers, out, answers, document, codes)
        for picture, made in zip(last_first, workers.run(drawn, last_first, meanwhile=numbers), strict=True):
            picture.keep(made)
            picture.save(out / "figures")
        captions = {p.key: (p.caption, p.alt_text) for p in pictures}
        _write_text(out / "contact_sheet.html", contact_sheet(captions))
    with steps.step("Writing the page and the Word file"):
        _write_text(out / "report.html", render_html(document))
        write_word(document, out / "report.docx")
    if individuals:
        with steps.step("Writing the pages of the athletes"):
            from .athlete_pages import write_athlete_pages

            written = write_athlete_pages(answers, out / "individual_pages", workers=workers)
            steps.progress(f"{plural(len(written), 'page')} for athletes who agreed to it")
    _write_text(out / "READ_ME.txt", READ_ME)


def _write_numbers(out: Path, answers, document, codes) -> None:
    """Write what needs no picture: tables, results, ledger, data package."""
    from ..telling.document import Table
    from .data_package import write_data_package
    from .results_json import json_text, write_csv

    for table in document.blocks(Table):
        numbers = table.shown if table.numbers is None else table.numbers
        write_csv(codes.hide_in_table(numbers), out / "tables" / f"{table.key}.csv")
    _write_text(out / "results.json", json_text(codes.hide(collect_results(answers))))
    ledger = answers.cleaned.ledger if answers.cleaned else answers.study.ledger
    write_csv(ledger.table, out / "ledger.csv")
    write_data_package(answers, out / "data_package")


def _answer_everything(answers, steps: Steps, workers: SideBySide) -> None:
    """Ask every question once, the long ones side by side."""
    outcomes = answers.measured_outcomes
    with steps.step("Comparing rounds, asking about fitness"):
        primary = answers.study.plan.primary_outcomes.values()
        pieces = [(question, o) for question in ("fitness", "rounds") for o in outcomes]
        pieces.sort(key=lambda piece: piece[1] not in primary)
        for (question, outcome), answer in zip(pieces, workers.run(ask, pieces), strict=True):
            answers.keep(question, outcome, answer)
    with steps.step("Comparing with published findings, asking what the design can answer"):
        answers.published()
        answers.design()


def ask(answers, piece: tuple[str, str]):
    """Return the answer to one question about one outcome."""
    question, outcome = piece
    return getattr(answers, question)(outcome)


def _write_text(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="\n")


def collect_results(answers) -> dict:
    """Gather every result of a study."""
    study, outcomes = answers.study, answers.measured_outcomes
    return {
        "study": {
            "title": study.title,
            "sport": study.sport,
            "protocol": study.protocol,
            "plan": study.plan,
            "seed": answers.seed,
        },
        "description": answers.description,
        "deviations": [
            dict(zip(("part", "planned", "done"), line, strict=True)) for line in deviations(answers)
        ],
        "software": versions(),
        "cleaning": _cleaning(answers),
        "rounds": {outcome: answers.rounds(outcome) for outcome in outcomes},
        "reliability": {outcome: answers.reliability(outcome) for outcome in outcomes},
        "capacity": answers.capacity,
        "fitness": {outcome: answers.fitness(outcome) for outcome in outcomes},
        "levels": answers.levels(),
        "published": answers.published(),
        "design": answers.design(),
        "survey": answers.survey(),
    }


def _cleaning(answers):
    cleaned = answers.cleaned
    if not cleaned:
        return cleaned
    return {
        "rows": cleaned.rows,
        "clocks": cleaned.clocks,
        "flags": cleaned.flags_table,
        "overrides": cleaned.overrides,
        "bounds": cleaned.bounds,
        "rules": cleaned.rules,
        "balance": cleaned.ledger.balance(),
        "remarks": cleaned.remarks,
        "warnings": cleaned.warnings,
    }
