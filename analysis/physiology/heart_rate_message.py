"""One message of the open wireless heart-rate service (characteristic 0x2A37): bytes to numbers."""

from __future__ import annotations

from dataclasses import dataclass

from ..basics import KitError, Result


@dataclass(frozen=True)
class HeartRateMessage(Result):
    """What one message says.

    Parameters
    ----------
    hr_bpm : int
        Heart rate as the strap smooths it; not to be mixed with rates from beat intervals within one study.
    contact_supported : bool
        Whether the strap tells about skin contact at all.
    contact_detected : bool or None
        None where the strap does not tell: not the same as poor contact.
    energy_kj : int or None
        Energy in kilojoule, not kilocalories; None where absent.
    rr_raw : tuple of int
        Every beat interval of the message, oldest first, in 1/1024 s (order and unit from memory).
    """

    hr_bpm: int
    contact_supported: bool
    contact_detected: bool | None
    energy_kj: int | None
    rr_raw: tuple[int, ...]


def read_heart_rate_message(message: bytes | str) -> HeartRateMessage:
    """Read one message of the heart-rate service.

    Parameters
    ----------
    message : bytes or str
        The bytes, or their hexadecimal text.

    Returns
    -------
    HeartRateMessage

    Raises
    ------
    KitError
        Where the message is shorter than its flags say, or odd.

    Notes
    -----
    Flags: bit 0 heart rate of one or two bytes; bit 1 contact, valid only with bit 2; bit 3 energy; bit 4 beat
    intervals; bits 5 to 7 are reserved and ignored.

    References
    ----------
    Bluetooth SIG, Heart Rate Service; layout read on documentation pages, unit of the intervals from memory.

    Examples
    --------
    >>> read_heart_rate_message("168CB701").rr_raw
    (439,)
    """
    try:
        data = bytes.fromhex(message) if isinstance(message, str) else bytes(message)
    except ValueError:
        raise KitError(f"{message!r} is not hexadecimal text such as 168CB701") from None
    flags = data[0] if data else 0
    wide, supported, energy, intervals = flags & 1, bool(flags & 4), flags & 8, flags & 16
    start = 2 + wide + (2 if energy else 0)
    if len(data) < start or (intervals and (len(data) - start) % 2):
        raise KitError(f"the message has {len(data)} bytes, too few or too many for its flags: was it cut?")
    after_rate = 2 + wide
    return HeartRateMessage(
        hr_bpm=int.from_bytes(data[1:after_rate], "little"),
        contact_supported=supported,
        contact_detected=bool(flags & 2) if supported else None,
        energy_kj=int.from_bytes(data[after_rate : after_rate + 2], "little") if energy else None,
        rr_raw=tuple(int.from_bytes(data[i : i + 2], "little") for i in range(start, len(data) - 1, 2))
        if intervals
        else (),
    )


def bpm_from_interval(rr_raw: float) -> float:
    """Turn a beat interval in 1/1024 s into beats per minute.

    Parameters
    ----------
    rr_raw : float
        Interval in 1/1024 s, positive.

    Returns
    -------
    float
        bpm.

    Examples
    --------
    >>> round(bpm_from_interval(439), 2)
    139.95
    """
    if not rr_raw > 0:
        raise KitError(f"rr_raw is {rr_raw}: an interval above 0 is needed")
    return 60 / (rr_raw / 1024)
