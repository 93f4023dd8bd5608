"""A figure as a PNG, packed for line drawings: quickly, and about as small as with the usual search for filters."""

from __future__ import annotations

import struct
import zlib

import numpy as np

_LEVEL = 3
"""Of zlib: the next one takes twice the time for files a quarter smaller."""


def png_bytes(figure, dpi: int) -> bytes:
    """Draw a figure and return it as a PNG without transparency or date."""
    # Source: ISO/IEC 15948:2004, Portable Network Graphics: chunks (clause 5), filters (clause 9).
    pixels = _drawn(figure, dpi)
    height, width = pixels.shape[:2]
    rows = np.zeros((height, 1 + 3 * width), np.uint8)  # the byte before each row names its filter: 0, none
    for colour in range(3):
        rows[:, 1 + colour :: 3] = pixels[:, :, colour]
    dots_per_metre = round(dpi / 0.0254)
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        [
            _chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)),
            _chunk(b"pHYs", struct.pack(">IIB", dots_per_metre, dots_per_metre, 1)),
            _chunk(b"IDAT", zlib.compress(rows.data, _LEVEL)),
            _chunk(b"IEND", b""),
        ]
    )


def _drawn(figure, dpi: int) -> np.ndarray:
    """Return the pixels, rows x columns x (red, green, blue, opacity), and leave the figure as it was."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    canvas, before = figure.canvas, figure.dpi
    try:
        figure.dpi = dpi
        own = FigureCanvasAgg(figure)
        own.draw()
        return np.asarray(own.buffer_rgba())
    finally:
        figure.dpi = before
        figure.set_canvas(canvas)


def _chunk(name: bytes, content: bytes) -> bytes:
    checksum = zlib.crc32(content, zlib.crc32(name))
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", checksum)
