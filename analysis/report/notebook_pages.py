"""An executed notebook as one page; and copies of the notebooks to work in."""

from __future__ import annotations

import asyncio
import copy
import html
import os
import pickle
import re
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from queue import Empty

from ..basics import KitError
from ..study.fixing import write_whole
from ..study.inventory import checksum
from .html_page import page, sanitised

NOTEBOOKS = Path(__file__).resolve().parents[2] / "notebooks"
"""The notebooks of the kit."""

SECONDS_PER_CELL = 300
"""A cell that runs longer than this has failed."""

SECONDS_TO_START = 120
"""A kernel that is not ready by then has failed."""


class NotebookError(KitError):
    """A notebook stopped: two lines that name notebook, cell and error."""


@dataclass(frozen=True)
class NotebookRun:
    """One notebook that ran to its end."""

    name: str
    title: str
    page: str
    seconds: float


def notebook_format():
    """Return the module nbformat, loaded without the grammars of web addresses that no notebook needs: they take a second."""
    grammars = "rfc3987_syntax"
    if "nbformat" not in sys.modules and grammars not in sys.modules:
        sys.modules[grammars] = None  # what asks for it does without
        try:
            import nbformat
        finally:
            del sys.modules[grammars]
    import nbformat

    return nbformat


def find_notebooks() -> list[Path]:
    """Return the numbered notebooks in order."""
    return sorted(p for p in NOTEBOOKS.glob("[0-9][0-9]_*.ipynb"))


def run_notebooks(
    study_folder: str | Path,
    paths: Sequence[Path],
    *,
    kept: Path | None = None,
    strict: bool = False,
    stop: threading.Event | None = None,
) -> list[NotebookRun]:
    """Run notebooks on one study folder, side by side in one kernel for each core; `kept` is a file of pickled answers."""
    if not paths:
        return []
    study_folder = Path(study_folder).resolve()
    with tempfile.TemporaryDirectory(prefix="nb") as scratch, _own_settings(scratch, kept):
        work = _run_all(paths, study_folder, Path(scratch), strict)
        waiting = _until_stopped(work, stop or threading.Event())
        with ThreadPoolExecutor(1) as apart:  # a loop of its own: the caller (a notebook) may already run in one
            runs = apart.submit(asyncio.run, waiting).result()
    failures = [run for run in runs if isinstance(run, NotebookError)]
    if failures:
        raise NotebookError("\n".join(map(str, failures)))
    return runs


class NotebooksAside:
    """Runs the notebooks in a thread while the caller goes on; stops them where the caller fails."""

    def __init__(self, answers, *, keep_in: Path, strict: bool = False, wanted: bool = True):
        self._found: dict = {}
        self._stop = threading.Event()
        paths = find_notebooks() if wanted else []
        self._kept = Path(keep_in) / ".answers"  # in the folder that the next report removes after a kill
        if paths:  # here, since the caller goes on adding answers; a file that nobody else may read
            with open(os.open(self._kept, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
                file.write(pickle.dumps(answers))
        arguments = (answers.study.folder, paths, strict)
        self._thread = threading.Thread(target=self._run, args=arguments, daemon=True)

    def _run(self, folder, paths, strict):
        try:
            self._found["runs"] = run_notebooks(folder, paths, kept=self._kept, strict=strict, stop=self._stop)
        except BaseException as error:
            self._found["error"] = error

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._stop.set()
        self._thread.join()
        self._kept.unlink(missing_ok=True)

    def wait(self) -> list[NotebookRun]:
        """Wait for the notebooks and return them, or raise what stopped one."""
        self._thread.join()
        if "error" in self._found:
            raise self._found["error"]
        return self._found["runs"]


@contextmanager
def _own_settings(scratch, kept):
    """Keep Jupyter from reading or writing anything in the home folder while the notebooks run."""
    new = {"IPYTHONDIR": str(scratch), "JUPYTER_RUNTIME_DIR": str(scratch)}
    new |= {"JUPYTER_PLATFORM_DIRS": "1", "PYDEVD_DISABLE_FILE_VALIDATION": "1"}
    new |= {"STUDY_ANSWERS": str(kept)} if kept is not None else {}
    old = {name: os.environ.get(name) for name in new}
    os.environ.update(new)
    try:
        yield
    finally:
        for name, value in old.items():
            os.environ.pop(name, None) if value is None else os.environ.update({name: value})


async def _until_stopped(work, stop: threading.Event):
    task = asyncio.ensure_future(work)
    asked = False
    while not task.done():
        if stop.is_set() and not asked:
            asked = task.cancel()
        await asyncio.wait([task], timeout=0.2)
    return [] if task.cancelled() else task.result()


async def _run_all(paths, study_folder, scratch, strict):
    """Share the notebooks out among one kernel for each core; what one notebook named is forgotten before the next."""
    waiting = list(enumerate(paths))
    found: dict[int, NotebookRun | NotebookError] = {}

    async def take_turns(turn):
        while waiting:  # again where a kernel died
            async with _kernel(scratch / f"{turn}_{len(waiting)}", study_folder) as (manager, kernel):
                while waiting and await manager.is_alive():
                    number, path = waiting.pop(0)
                    found[number] = await _run_one(path, manager, kernel, strict)

    await asyncio.gather(*(take_turns(turn) for turn in range(min(os.cpu_count() or 1, len(waiting)))))
    return [found[number] for number in sorted(found)]


async def _run_one(path: Path, manager, kernel, strict: bool) -> NotebookRun | NotebookError:
    nbformat = notebook_format()
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

    start = time.perf_counter()
    notebook = nbformat.read(path, as_version=4)
    started: list[tuple[int, str]] = []
    client = NotebookClient(notebook, km=manager, timeout=SECONDS_PER_CELL, iopub_timeout=60)
    client.on_cell_start = lambda cell, cell_index: started.append((cell_index + 1, cell.source))
    client.kc = kernel
    try:
        await client.async_wait_for_reply(kernel.execute("%reset -f", silent=True))
        await client.async_execute()
        if strict:
            _refuse_warnings(path, notebook)
    except NotebookError as warned:
        return warned
    except CellExecutionError as error:
        reason = _first_lines(f"{error.ename}: {error.evalue}".strip().splitlines())
    except CellTimeoutError:
        reason = f"it ran longer than {SECONDS_PER_CELL} s"
        await manager.shutdown_kernel(now=True)
    except DeadKernelError:
        reason = "Python died"
    else:
        texts = (cell.source for cell in notebook.cells if cell.cell_type == "markdown")
        headings = (re.search(r"^#\s+(.+)$", text, re.MULTILINE) for text in texts)
        title = next((found[1].strip() for found in headings if found), path.stem)
        return NotebookRun(path.stem, title, notebook_page(notebook, title), time.perf_counter() - start)
    number, source = started[-1] if started else (1, "")
    lines = [line for line in source.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    cell = f"cell {number} ({(lines or [''])[0].strip()[:70]})"
    return NotebookError(f"{path.name}, {cell} stopped:\n  {reason}")


@asynccontextmanager
async def _kernel(scratch: Path, study_folder: Path):
    """Start a kernel that talks through files (sockets) where the system has them, else through TCP; end it after."""
    from jupyter_client.kernelspec import KernelSpec
    from jupyter_client.manager import AsyncKernelManager

    scratch.mkdir()
    environment = {**os.environ, "STUDY_FOLDER": str(study_folder), "MPLBACKEND": "agg", "STUDY_PAGES": "1"}
    kit_first = [str(NOTEBOOKS.parent), environment.get("PYTHONPATH", "")]
    environment["PYTHONPATH"] = os.pathsep.join(filter(None, kit_first))
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        environment.setdefault(name, "1")  # the kernels share the cores; more threads make all slower
    connection = scratch / "k.json"
    through_files = os.name == "posix" and len(str(connection)) < 85
    manager = AsyncKernelManager(connection_file=str(connection), transport="ipc" if through_files else "tcp")
    command = [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"]
    command += ["--HistoryManager.hist_file=:memory:"]
    manager._kernel_spec = KernelSpec(argv=command, display_name="Python 3", language="python")
    client = None
    try:
        await manager.start_kernel(env=environment, cwd=str(scratch))
        client = manager.client()
        client.start_channels()
        await client.wait_for_ready(timeout=SECONDS_TO_START)
        look_every_second(client.shell_channel)
        yield manager, client
    finally:
        if client is not None:
            client.stop_channels()
        if manager.has_kernel:
            await manager.shutdown_kernel(now=True)


def look_every_second(channel) -> None:
    """Let a wait for a message of a kernel look by itself every second."""
    take = channel.get_msg

    async def get_msg(timeout: float | None = None):
        end = float("inf") if timeout is None else time.monotonic() + timeout
        while True:
            try:
                return await take(timeout=max(0.0, min(1.0, end - time.monotonic())))
            except Empty:
                if time.monotonic() >= end:
                    raise

    channel.get_msg = get_msg


def _first_lines(lines: Sequence[str]) -> str:
    return " ".join(line.strip() for line in lines)[:400] or "without a message"


def _refuse_warnings(path: Path, notebook) -> None:
    for number, cell in enumerate(notebook.cells, start=1):
        for output in cell.get("outputs", ()):
            if output.output_type == "stream" and output.name == "stderr":
                text = _first_lines(output.text.strip().splitlines())
                raise NotebookError(f"{path.name}, cell {number} warned:\n  {text}")


LAB_SETTINGS = Path(__file__).with_name("lab")
"""Settings of JupyterLab that `lab` adds: no question about news, which would be fetched from elsewhere."""


def notebook_page(notebook, title: str) -> str:
    """Return an executed notebook as one page in the style of the kit."""
    from nbconvert.exporters import HTMLExporter

    notebook = _without_widgets(notebook)
    exporter = HTMLExporter(template_name="basic", anchor_link_text="")
    exporter.exclude_input_prompt = exporter.exclude_output_prompt = True
    body, _ = exporter.from_notebook_node(notebook)
    lines = body.split("\n")
    for i, line in enumerate(lines):
        for pattern, instead in _PAGE_CHANGES if "base64," not in line else ():
            lines[i] = re.sub(pattern, instead, lines[i])
    body = sanitised("\n".join(lines))
    return page(title, f'<style>{_NOTEBOOK_STYLE}</style>\n<div class="notebook">{body}</div>', _nav(notebook))


def _without_widgets(notebook):
    notebook = copy.deepcopy(notebook)
    notebook.metadata.pop("widgets", None)
    for cell in notebook.cells:
        cell.metadata = {}
        kept = []
        for output in cell.get("outputs", ()):
            if "application/vnd.jupyter.widget-view+json" in output.get("data", {}):
                output = {"output_type": "display_data", "metadata": {}, "data": {"text/html": _SLIDER}}
            kept.append(output)
        if cell.cell_type == "code":
            import nbformat

            cell.outputs = [nbformat.from_dict(o) for o in kept]
    return notebook


_SLIDER = '<p class="mark">In the notebook a slider stands here. This page holds still figures only.</p>'


def _nav(notebook) -> str:
    texts = [cell.source for cell in notebook.cells if cell.cell_type == "markdown"]
    headings = [h.strip() for text in texts for h in re.findall(r"^##\s+(.+)$", text, re.MULTILINE)]
    items = "".join(f'<li><a href="#{html.escape(h.replace(" ", "-"))}">{html.escape(h)}</a></li>' for h in headings)
    return f'<nav aria-labelledby="contents"><h2 id="contents">Contents</h2><ol>{items}</ol></nav>'


_PAGE_CHANGES = (
    (r'href="(\d\d_\w+)\.ipynb', r'href="\1.html'),  # to the page, not to the notebook
    (r'<a class="anchor-link"[^>]*></a>', ""),  # a link without words
    (r'<div class="output_html', r'<div tabindex="0" class="output_html'),  # wide tables scroll by keyboard
    (r"[\w:.~\\/-]*ipykernel_\d+[\w:.~\\/-]*?\.py", "cell"),  # the number of a process
    (r" at 0x[0-9a-f]{6,}", ""),  # the address of an object
)
"""What else an exported page must not carry, so that it repeats and reads well."""

_NOTEBOOK_STYLE = """
.notebook pre { background: var(--wash); padding: .6rem .8rem; white-space: pre-wrap; }
.notebook pre { overflow-wrap: anywhere; font-size: .8rem; line-height: 1.45; }
.notebook img { max-width: 100%; height: auto; }
@media (max-width: 40rem) { .notebook .output_html img[width^="64"] { max-width: none; } }
.notebook .jp-OutputArea, .notebook .output_html { overflow-x: auto; }
.notebook table { margin: .8rem 0; }
.notebook h1 { margin-top: 0; }
.notebook .anchor-link { display: none; }
"""


def copy_notebooks(folder: str | Path) -> tuple[Path, list[str]]:
    """Copy the notebooks into a study folder to work in, never over one that was changed there."""
    target = Path(folder) / "notebooks"
    if not Path(folder).is_dir():
        raise KitError(f"{folder}: no such folder. Give the study folder.")
    try:
        return target, _copy_into(target)
    except OSError as error:
        raise KitError(f"The notebooks could not be copied into {target} ({error.strerror or error}).") from error


def _copy_into(target: Path) -> list[str]:
    target.mkdir(parents=True, exist_ok=True)
    memory = target / ".copied"
    copied = dict(line.split("  ", 1)[::-1] for line in memory.read_text().splitlines()) if memory.exists() else {}
    kept = []
    for source in find_notebooks():
        mine = target / source.name
        if mine.exists() and checksum(mine) not in (copied.get(source.name), checksum(source)):
            kept.append(source.name)
            continue
        write_whole(mine, source.read_bytes())
        copied[source.name] = checksum(mine)
    write_whole(memory, "".join(f"{mark}  {name}\n" for name, mark in sorted(copied.items())).encode())
    return kept
