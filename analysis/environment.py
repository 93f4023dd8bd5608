"""Making and finding the kit's own Python environment, with the standard library alone.

Kept readable by old Pythons (no syntax newer than 3.6), so that they can be refused in words.
"""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
DISTRIBUTION = "club-sparring-study-kit"
OLDEST_PYTHON = (3, 11)
EXTRAS = "test,browser,cluster"


def python_name():
    """Return what a user types to start Python here."""
    return "py" if os.name == "nt" else "python3"


def environment_python(root=ROOT):
    """Return the path of the Python inside the kit's environment (which may not exist)."""
    return root / ".venv" / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def installed_here(root=ROOT):
    """Return whether the kit is installed in the Python that runs this (conda, an active environment)."""
    import importlib.metadata  # a Python too old to have it is refused before this

    elsewhere = [p for p in sys.path if p and Path(p).resolve() != root]
    found = importlib.metadata.Distribution.discover(name=DISTRIBUTION, path=elsewhere)
    return any(True for _ in found)


def refuse_old_python(version=None):
    """Return a sentence that refuses a Python older than 3.11, or an empty string."""
    version = tuple(version or sys.version_info[:3])
    if version[:2] >= OLDEST_PYTHON:
        return ""
    return (
        "This kit needs Python 3.11 or newer; this is Python {}. Install a newer one from python.org "
        "(or your system's packages) and type the command again with it, for example "
        "'python3.12 -m analysis setup'.".format(".".join(map(str, version)))
    )


def relaunch(arguments, root=ROOT):
    """Run the same command inside the kit's environment and return its exit code."""
    if installed_here(root):
        return None
    inside = environment_python(root)
    if not inside.exists():
        print(f"Nothing is set up yet. Type this first:  {python_name()} -m analysis setup", file=sys.stderr)
        return 2
    command = [str(inside), "-m", "analysis", *arguments]
    environment = dict(os.environ)
    environment["PYTHONPATH"] = os.pathsep.join(p for p in (str(root), environment.get("PYTHONPATH")) if p)
    if os.name == "nt":
        return subprocess.call(command, env=environment)
    sys.stdout.flush()
    os.execve(command[0], command, environment)


def setup(root=ROOT, say=print):
    """Make the kit's environment where there is none, and install what the kit needs. Returns an exit code."""
    refusal = refuse_old_python()
    if refusal:
        print(refusal, file=sys.stderr)
        return 2
    if installed_here(root):
        say(f"The kit is installed in this Python already: {sys.executable}")
        return 0
    inside = environment_python(root)
    stamp = root / ".venv" / "setup_done.txt"
    wanted = _fingerprint(root)
    if stamp.exists() and stamp.read_text(encoding="utf-8") == wanted and _answers(inside):
        say("Already set up; nothing has changed.")
        return 0
    if not _answers(inside):
        say("Making an environment of its own for the kit, in the folder .venv ...")
        problem = _make_environment(root)
        if problem:
            print(problem, file=sys.stderr)
            return 2
    say("Installing what the kit needs (some minutes the first time; it needs the network once) ...")
    problem = _install(root, inside)
    if problem:
        print(problem, file=sys.stderr)
        return 1
    stamp.write_text(wanted, encoding="utf-8")
    say("Set up.")
    return 0


def _make_environment(root):
    try:
        import ensurepip  # noqa: F401
        import venv
    except ImportError:
        return (
            "This Python has no 'venv' module, which makes separate environments. On Debian and Ubuntu: "
            "sudo apt install python3-venv. Elsewhere install Python from python.org. Then type the command again."
        )
    try:
        venv.EnvBuilder(with_pip=True, clear=True, symlinks=os.name != "nt").create(root / ".venv")
    except (OSError, subprocess.CalledProcessError) as error:
        return (
            "The environment could not be made in {}: {}. Is the folder writable, and is there room on the disk? "
            "On Windows a short path outside synced folders helps.".format(root / ".venv", error)
        )
    return ""


def _install(root, inside):
    command = [str(inside), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-input"]
    if (root / "constraints.txt").exists():
        command += ["--constraint", str(root / "constraints.txt")]
    command += ["--editable", f"{root}[{EXTRAS}]"]
    done = subprocess.run(command, cwd=str(root), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
    if done.returncode == 0:
        return ""
    last = [line for line in done.stdout.decode("utf-8", "replace").splitlines() if line.strip()][-12:]
    return "\n".join(
        [
            "Installing did not work. Most often there is no connection to the package index (network, proxy), or the "
            "disk is full. What the installer said last:",
            *("    " + line for line in last),
            "Mend that and type the same command again; it goes on where it stopped.",
        ]
    )


def _answers(python):
    """Return whether the environment's Python starts (a copied or half-made environment does not)."""
    if not python.exists():
        return False
    try:
        return subprocess.run([str(python), "-c", "import pip"], capture_output=True, check=False).returncode == 0
    except OSError:
        return False


def _fingerprint(root):
    """Return a text that changes when the dependencies, the Python or the place of the kit change."""
    text = f"{sys.version_info[:2]} {root}\n"
    for name in ("pyproject.toml", "constraints.txt"):
        path = root / name
        text += hashlib.sha256(path.read_bytes() if path.exists() else b"").hexdigest() + "\n"
    return text
