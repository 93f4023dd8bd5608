"""An executed notebook as one page; and copies of the notebooks to work in."""

from __future__ import annotations

import html
import re
import shutil
from pathlib import Path

from .about import checksum
from .notebook_runs import find_notebooks

LAB_SETTINGS = Path(__file__).with_name("lab")
"""Settings of JupyterLab that `lab` adds: no question about news, which would be fetched from elsewhere."""


def notebook_title(notebook) -> str:
    """Return the first heading of a notebook, or ""."""
    for cell in notebook.cells:
        match = re.search(r"^#\s+(.+)$", cell.source, re.MULTILINE)
        if cell.cell_type == "markdown" and match:
            return match[1].strip()
    return ""


def notebook_page(notebook, title: str) -> str:
    """Return an executed notebook as one page in the style of the kit."""
    from nbconvert.exporters import HTMLExporter

    from .html_page import page

    notebook = _without_widgets(notebook)
    exporter = HTMLExporter(template_name="basic", anchor_link_text="")
    exporter.exclude_input_prompt = exporter.exclude_output_prompt = True
    body, _ = exporter.from_notebook_node(notebook)
    body = "\n".join(line if "base64," in line else _tidied(line) for line in body.split("\n"))
    return page(
        title, f'<style>{_NOTEBOOK_STYLE}</style>\n<div class="notebook">{body}</div>', _nav(notebook)
    )


def _tidied(line: str) -> str:
    for pattern, instead in _PAGE_CHANGES:
        line = re.sub(pattern, instead, line)
    return line


def _without_widgets(notebook):
    import copy

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


_SLIDER = '<p class="mark">Here stands a slider in the living notebook; a page cannot move it.</p>'


def _nav(notebook) -> str:
    headings = []
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            headings += re.findall(r"^##\s+(.+)$", cell.source, re.MULTILINE)
    items = "".join(
        f'<li><a href="#{html.escape(h.strip().replace(" ", "-"))}">{html.escape(h.strip())}</a></li>'
        for h in headings
    )
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
.notebook .jp-OutputArea, .notebook .output_html { overflow-x: auto; }
.notebook table { margin: .8rem 0; }
.notebook h1 { margin-top: 0; }
.notebook .anchor-link { display: none; }
"""


def copy_notebooks(folder: str | Path) -> tuple[Path, list[str]]:
    """Copy the notebooks into a study folder to work in, never over one that was changed there.

    Parameters
    ----------
    folder : path
        The study folder.

    Returns
    -------
    path, list of str
        The folder of the copies, and the names that were kept because they had been changed.

    Examples
    --------
    >>> import tempfile
    >>> copy_notebooks(tempfile.mkdtemp())[1]
    []
    """
    target = Path(folder) / "notebooks"
    target.mkdir(parents=True, exist_ok=True)
    memory = target / ".copied"
    copied = (
        dict(line.split("  ", 1)[::-1] for line in memory.read_text().splitlines()) if memory.exists() else {}
    )
    kept = []
    for source in find_notebooks():
        mine = target / source.name
        if mine.exists() and checksum(mine) not in (copied.get(source.name), checksum(source)):
            kept.append(source.name)
            continue
        shutil.copyfile(source, mine)
        copied[source.name] = checksum(mine)
    memory.write_text("".join(f"{mark}  {name}\n" for name, mark in sorted(copied.items())))
    return target, kept
