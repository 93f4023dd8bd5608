"""The style: widths of a journal, colours told apart in grey and by colour-blind readers, files that repeat."""

import io
import itertools
import xml.etree.ElementTree as ET

import matplotlib.colors as colors
import numpy as np
import pytest
from PIL import Image

from analysis.telling.style import (
    FAINT,
    FORMATS,
    INK,
    LINES,
    MAIN,
    MARKERS,
    QUIET,
    SECOND,
    contact_sheet,
    figure_bytes,
    finish,
    new_axes,
    save_figure,
)


def drawn():
    figure, ax = new_axes()
    ax.plot([1, 2, 3], [150, 161, 163], "o-", color=MAIN, label="mean")
    ax.set_xlabel("Round")
    ax.legend()
    return finish(figure, "A line that rises over three rounds.")


def lightness(colour):
    """CIE lightness, 0 to 100."""
    rgb = np.asarray(colors.to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    y = linear @ [0.2126, 0.7152, 0.0722]
    return 116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y


def without_red_green(colour):
    """The colour as a deuteranope sees it (Machado, Oliveira and Fernandes 2009, severity 1; matrix from memory)."""
    matrix = np.array([[0.367, 0.861, -0.228], [0.280, 0.673, 0.047], [-0.012, 0.043, 0.969]])
    return np.clip(matrix @ np.asarray(colors.to_rgb(colour)), 0, 1)


@pytest.mark.parametrize(("width", "mm"), [("single", 85), ("double", 170)])
def test_widths_are_those_of_a_journal(width, mm):
    figure, _ = new_axes(width=width)
    assert figure.get_size_inches()[0] * 25.4 == pytest.approx(mm)
    assert Image.open(io.BytesIO(figure_bytes(figure, "png300"))).size[0] == pytest.approx(mm / 25.4 * 300, abs=1)


def test_colours_differ_in_grey_and_for_colour_blind_readers():
    main = (MAIN, SECOND, QUIET, FAINT)
    assert all(abs(lightness(a) - lightness(b)) > 6 for a, b in itertools.combinations(main, 2))
    assert abs(lightness(MAIN) - lightness(SECOND)) > 15
    assert np.linalg.norm(without_red_green(MAIN) - without_red_green(SECOND)) > 0.3
    assert lightness(INK) < 15 and len(set(MARKERS)) == len(MARKERS) and len(set(LINES)) == len(LINES)


def test_given_axes_are_drawn_into():
    figure, axes = new_axes(columns=2)
    assert new_axes(axes[1]) == (figure, axes[1])


def test_files_repeat_and_carry_no_date(tmp_path):
    first, second = (save_figure(drawn(), tmp_path / n, "f") for n in ("a", "b"))
    assert set(first) == set(FORMATS)
    for kind in FORMATS:
        assert first[kind].read_bytes() == second[kind].read_bytes()
    assert b"CreationDate" not in first["pdf"].read_bytes() and b"/FontFile2" in first["pdf"].read_bytes()
    svg = ET.fromstring(first["svg"].read_bytes())
    names = {e.tag.split("}")[1] for e in svg.iter()}
    assert "date" not in names and "text" not in names


def test_formats_show_the_same_layout_in_any_order():
    one, two = drawn(), drawn()
    figure_bytes(one, "png600"), figure_bytes(one, "pdf")
    assert figure_bytes(one, "svg") == figure_bytes(two, "svg")


def test_png_shows_what_matplotlib_saves():
    figure = drawn()
    ours = Image.open(io.BytesIO(figure_bytes(figure, "png150")))
    theirs = io.BytesIO()
    figure.savefig(theirs, format="png", dpi=150)
    assert ours.mode == "RGB" and ours.info["dpi"] == pytest.approx((150, 150), abs=0.1)
    assert np.array_equal(np.asarray(ours), np.asarray(Image.open(theirs).convert("RGB")))
    assert figure.dpi == 120


def test_contact_sheet_escapes_and_links():
    page = contact_sheet({"a": ("One <b>", 'Two "quoted"'), "b": ("B", "B")})
    assert "One &lt;b&gt;" in page and "Two &quot;quoted&quot;" in page and "2 figures" in page
    assert page.count("figures/a") == 5
