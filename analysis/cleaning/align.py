"""Line traces up with the rounds: to check clocks, and to place recordings or rounds where there is no clock."""

from __future__ import annotations


def check_clocks(session, rules, warnings) -> None:
    """Fill found_offset_s, found_uncertainty_s and agrees of every clock."""


def place_without_clock(trace, windows, protocol, clocks, who, warnings):
    """Put a trace without a clock on the session's clock."""
    return {}


def windows_from_traces(traces, protocol, evening, warnings):
    """Find the rounds of a group from its traces."""
    return {}
