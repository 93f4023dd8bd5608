"""The commands: ``python3 -m analysis setup | new | check | freeze | allocate | report | lab | pool | test``.

Only the standard library is needed here; a command imports a room when it runs.
"""

import argparse
import json
import os
import secrets
import socket
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager, suppress
from pathlib import Path

from .environment import ROOT, python_name, refuse_old_python, relaunch, setup

DESCRIPTION = "Design, run, analyse and report a small club sparring study."


def build_parser():
    """Return the argument parser with every command."""
    parser = argparse.ArgumentParser(prog=f"{python_name()} -m analysis", description=DESCRIPTION)
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)

    def command(name, text, folder=""):
        sub = commands.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".")
        if folder:
            sub.add_argument("folder", metavar="FOLDER", type=Path, help=folder)
        return sub

    command("setup", "install what the kit needs into an environment of its own (once, and after an update)")

    new = command("new", "make an empty study folder to fill in", "where to make it (outside the kit)")
    new.add_argument(
        "--test",
        action="append",
        default=[],
        metavar="NAME",
        help="an aerobic test that the club will use; repeat for several",
    )
    new.add_argument("--rounds", type=int, default=4, help="how many rounds (default 4)")
    new.add_argument("--work", default="5:00", metavar="M:SS", help="length of a round (default 5:00)")
    new.add_argument("--rest", default="2:00", metavar="M:SS", help="rest between rounds (default 2:00)")
    new.add_argument(
        "--scale", default="6-20", metavar="SCALE", help="exertion scale: 6-20, 0-10 or 0-100 (default 6-20)"
    )
    new.add_argument(
        "--athletes",
        type=int,
        default=0,
        metavar="N",
        help="how many will come: fills in their codes and rounds, and plans for them",
    )
    new.add_argument("--csv", action="store_true", help="write CSV files instead of one workbook")
    new.add_argument("--survey", action="store_true", help="for sessions that other people send in, instead of rounds")

    new.add_argument(
        "--training", action="store_true", help="for a study that assigns training to half of the athletes"
    )

    check = command("check", "look through a study folder and name every problem at once", "the study folder")
    check.add_argument("--quick", action="store_true", help="leave the recordings closed (under a second)")
    check.add_argument(
        "--write-decisions",
        action="store_true",
        help="put the decisions that it proposes into the decisions table, for a person to confirm",
    )
    freeze = command("freeze", "fix the plan, dated, before the first measurement", "the study folder")
    freeze.add_argument(
        "--athletes",
        type=int,
        metavar="N",
        help="how many athletes are planned (default: n_athletes in study.toml, else those with consent and clearance)",
    )
    freeze.add_argument(
        "--amend",
        metavar="REASON",
        help="change a plan that was fixed, before the first measurement; both versions are kept",
    )

    draw = command("allocate", "let chance decide, once, who adds the training of a training study", "the study folder")
    draw.add_argument(
        "--sealed", type=Path, required=True, metavar="PATH", help="the file to write, outside the study folder"
    )
    draw.add_argument("--late", default="", metavar="CODE", help="an athlete who joined after the draw")

    report = command("report", "analyse the study and write everything up", "the study folder")
    report.add_argument("--no-notebooks", action="store_true", help="leave out the notebooks as pages (faster)")
    report.add_argument("--individuals", action="store_true", help="show codes of the athletes who consented to it")
    report.add_argument("--verify", action="store_true", help="only say whether the output still belongs to its input")
    report.add_argument("--timings", action="store_true", help="print where the time goes")
    report.add_argument("--strict", action="store_true", help="fail on any warning in a notebook")
    report.add_argument("--open", action="store_true", help="open the page in the browser at the end")

    lab = command("lab", "copy the notebooks beside the study and open them", "the study folder")
    lab.add_argument("--no-browser", action="store_true", help="start without opening a browser window")

    pace = command("pace", "write the page on which a rater marks what athletes do in a round", "the study folder")
    pace.add_argument(
        "--out", type=Path, metavar="FILE", help="where to write it (default: pace_page.html in the study folder)"
    )

    pool = commands.add_parser(
        "pool",
        help="join de-identified studies of several clubs",
        description="Join de-identified studies of several clubs.",
    )
    pool.add_argument("folders", metavar="FOLDER", type=Path, nargs="+", help="the study folders")
    pool.add_argument("out", metavar="OUT", type=Path, help="the folder to write (must not exist)")

    command("test", "run the kit's own tests; whatever follows is passed on to pytest")
    return parser


def run_new(options):
    """Make a study folder."""
    from .study import new_study

    made = new_study(
        options.folder,
        tests=options.test,
        rounds=options.rounds,
        work=options.work,
        rest=options.rest,
        scale=options.scale,
        survey=options.survey,
        training=options.training,
        workbook=not options.csv,
        athletes=options.athletes,
    )
    print(f"Made {made.resolve()}")
    print(f"Fill it in, then: {python_name()} -m analysis check {_quoted(options.folder)}")
    return 0


def run_check(options):
    """Name every problem of a study folder."""
    from .cleaning import CleaningRules
    from .pace import list_pace_problems, pace_words
    from .recordings import inspect_recording, read_gas_exchange
    from .study import check_study, propose_decisions_for
    from .survey.tables import survey_choices

    def look(study):
        from .telling.cleaning.sentences import look_into_recordings

        count = len(study.recording_files())
        print(
            f"Opening {count} {'recording' if count == 1 else 'recordings'} (--quick leaves them closed) ...",
            flush=True,
        )
        return look_into_recordings(study, keep=True)

    if options.write_decisions:
        path, new = propose_decisions_for(options.folder)
        print(f"{new} proposed decision{'' if new == 1 else 's'} written to {path.name}, unconfirmed.\n")
    readers = (CleaningRules.from_settings, survey_choices, pace_words)
    outcome = check_study(
        options.folder,
        inspect=inspect_recording,
        look=None if options.quick else look,
        readers=readers,
        judge=list_pace_problems,
        read_gas=read_gas_exchange,
    )
    print(outcome.text())
    return 0 if outcome.passed else 1


def run_freeze(options):
    """Fix the plan."""
    from .report.plan_document import freeze

    for path in freeze(options.folder, athletes=options.athletes, amendment=options.amend):
        print(f"Wrote {path}")
    return 0


def run_allocate(options):
    """Draw who trains."""
    from .answers.training import allocate_study

    print(allocate_study(options.folder, options.sealed, late=options.late))
    return 0


def run_report(options):
    """Analyse and write up."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")  # before numpy is imported: every core has its own work already
    from .basics.parallel import be_quick
    from .report import build_report
    from .report.output import verify_report

    if options.verify:
        verdict = verify_report(options.folder)
        print(verdict.text())
        return 0 if verdict.valid else 1
    be_quick()
    page = build_report(
        options.folder,
        individuals=options.individuals,
        notebooks=not options.no_notebooks,
        strict=options.strict,
        timings=options.timings,
        progress=Progress(),
    )
    print(f"\nOpen this page: {page.resolve()}")
    if options.open:
        import webbrowser

        webbrowser.open(page.resolve().as_uri())
    return 0


def run_lab(options):
    """Copy the notebooks and start JupyterLab."""
    from .report.notebook_pages import LAB_SETTINGS, copy_notebooks

    folder = options.folder.resolve()
    if not (folder / "study.toml").is_file():
        from .basics import KitError

        what = "there is no study.toml in it" if folder.is_dir() else "there is no such folder"
        raise KitError(
            f"{options.folder} is not a study folder: {what}. Start one with: {python_name()} -m analysis new FOLDER"
        )
    target, kept = copy_notebooks(folder)
    for name in kept:
        print(f"Kept your changed copy of {name}; the kit's own is in {ROOT / 'notebooks'}")
    command = [
        sys.executable,
        "-m",
        "jupyterlab",
        f"--notebook-dir={target}",
        "--LabApp.default_url=/lab/tree/00_start_here.ipynb",
        "--ServerApp.ip=127.0.0.1",
        "--LabApp.news_url=",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
    ]
    if options.no_browser:
        command.append("--no-browser")
    port, token = free_port(), secrets.token_hex(24)
    command.append(f"--ServerApp.port={port}")
    print(f"Starting the notebooks in {target} (stop with Ctrl+C, twice)")
    print(f"Their address, for this machine alone: http://127.0.0.1:{port}/lab?token={token}", flush=True)
    with own_settings_of_lab(token) as private:
        path = os.pathsep.join(filter(None, [private, str(LAB_SETTINGS), os.environ.get("JUPYTER_CONFIG_PATH", "")]))
        environment = {**os.environ, "STUDY_FOLDER": str(folder), "JUPYTER_CONFIG_PATH": path}
        environment["STUDY_KIT_OWN_STARTUP"] = os.environ.get("PYTHONSTARTUP", "")
        environment["PYTHONSTARTUP"] = str(ROOT / "analysis" / "notebook" / "startup.py")
        for name in ("JUPYTER_TOKEN", "JUPYTER_TOKEN_FILE", "JUPYTER_PREFER_ENV_PATH", "JUPYTER_NO_CONFIG"):
            environment.pop(name, None)
        try:
            return subprocess.call(command, env=environment, cwd=target)
        except KeyboardInterrupt:
            return 0


def free_port(first=8888):
    """Return a port of this machine that nobody uses, the usual one where it is free."""
    for port in (*range(first, first + 50), 0):
        with socket.socket() as probe, suppress(OSError):
            probe.bind(("127.0.0.1", port))
            return probe.getsockname()[1]
    return first


@contextmanager
def own_settings_of_lab(token):
    """Give a folder of settings that goes before the user's own: this machine alone, and only with the token."""
    nobody_else = {
        "ip": "127.0.0.1",
        "sock": "",
        "allow_remote_access": False,
        "allow_origin": "",
        "allow_origin_pat": "",
    }
    server = {
        **nobody_else,
        "password": "",
        "disable_check_xsrf": False,
        "identity_provider_class": "jupyter_server.auth.identity.PasswordIdentityProvider",
    }
    identity = {"token": token}
    settings = {
        "ServerApp": server,
        "IdentityProvider": identity,
        "PasswordIdentityProvider": {**identity, "hashed_password": "", "password_required": False},
    }
    with tempfile.TemporaryDirectory(prefix="lab") as folder:  # open to its owner alone
        (Path(folder) / "jupyter_server_config.json").write_text(json.dumps(settings), encoding="utf-8")
        yield folder


def run_pace(options):
    """Write the page for raters."""
    from .pace import write_pace_page
    from .study import load_study

    written = write_pace_page(load_study(options.folder), options.out)
    print(f"Open this page on a phone or a computer; it needs no network: {written.resolve()}")
    print("Put what it saves into the table pace (pace.csv or the tab pace), one rater below the other.")
    return 0


def run_pool(options):
    """Join studies."""
    from .replication import pool_studies
    from .telling.published.sentences import write_up_pool

    written = pool_studies(options.folders, options.out, describe=write_up_pool)
    plain, mark, _ = (written / "README.md").read_text(encoding="utf-8").partition("\n## For the write-up\n")
    print(plain.replace("# Several clubs together\n\n", "", 1))
    print(f"Wrote {written.resolve()}" + (": README.md there holds the results for the write-up." if mark else ""))
    return 0


def run_test(options):
    """Run the tests on all cores, with a worker more: some tests wait for a browser or a server."""
    together = ["-n", str((os.cpu_count() or 1) + 1), "--dist", "loadfile", "--no-loadscope-reorder"]
    command = [sys.executable, "-m", "pytest", *together, *options.more]
    environment = dict(os.environ)
    environment.pop("PYTHONDONTWRITEBYTECODE", None)  # else every process that is started compiles the kit anew
    return subprocess.call(command, cwd=ROOT, env=environment)


class Progress:
    """Prints one line per step, with the seconds since the start."""

    def __init__(self):
        self.start = time.perf_counter()

    def __call__(self, text):
        print(f"{time.perf_counter() - self.start:6.1f} s  {text}", flush=True)


def main(arguments=None):
    """Run one command and return its exit code."""
    arguments = list(sys.argv[1:] if arguments is None else arguments)
    refusal = refuse_old_python()
    if refusal:
        print(refusal, file=sys.stderr)
        return 2
    options, more = build_parser().parse_known_args(arguments)
    if more and options.command != "test":
        build_parser().error(f"unrecognized arguments: {' '.join(more)}")
    options.more = more  # what `test` passes on to pytest
    if options.command == "setup":
        return setup()
    code = relaunch(arguments)
    if code is not None:
        return code
    from .basics import KitError

    for stream in (sys.stdout, sys.stderr):  # names of files may hold signs that this terminal cannot write
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        return globals()[f"run_{options.command}"](options)
    except KitError as error:
        print(error, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        exec("")  # else, where a text was being executed, Python ends as if nobody had caught this
        print("\nStopped; nothing was changed.", file=sys.stderr)
        return 130
    except OSError as error:  # a disk that is full or may not be written, or a pipe
        if isinstance(error, BrokenPipeError) and _reader_left():
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return 0
        where = f"{error.filename}: " if error.filename else ""
        print(f"{where}{error.strerror or error}. Put that right and run the command again.", file=sys.stderr)
        return 1


def _reader_left():
    """Say whether whoever read our output has had enough (for example | head); else a pipe of our own broke."""
    try:
        import select

        asked = select.poll()
        asked.register(sys.stdout.fileno(), 0)
        return any(event & select.POLLERR for _, event in asked.poll(0))
    except (AttributeError, OSError):  # Windows cannot be asked
        return True


def _quoted(path):
    text = str(path)
    return f'"{text}"' if " " in text else text


if __name__ == "__main__":
    sys.exit(main())
