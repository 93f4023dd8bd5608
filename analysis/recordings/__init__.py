"""Read a heart-rate or gas-exchange file of any accepted format into one tidy trace.

In: a file as it came out of a strap, watch, phone or cart. Out: a `Recording`: samples in time order, what was
repaired or lost as sentences, and nothing else of what the file carries. Knows nothing of the study.
"""

from .formats import ENDINGS
from .gas import read_gas_exchange
from .read import inspect_recording, list_labels, read_recording
from .recording import Recording, RecordingError

__all__ = [
    "ENDINGS", "Recording", "RecordingError", "inspect_recording", "list_labels", "read_gas_exchange", "read_recording",
]  # fmt: skip
