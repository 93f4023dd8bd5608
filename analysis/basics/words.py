"""The one formatter: numbers to text. Computing never rounds; only this module does."""

from __future__ import annotations

import math
from collections.abc import Sequence

MINUS = "\N{MINUS SIGN}"
NO_VALUE = "not available"


def format_number(value: float, digits: int = 1, *, sign: bool = False, unit: str = "") -> str:
    """Round for reading, with a real minus sign, never "-0" or "nan".

    Parameters
    ----------
    value : float
        The number; not-a-number becomes "not available", an infinite one "unbounded".
    digits : int
        Decimals (heart rate 0, lactate 1, correlation 2).
    sign : bool
        Write a plus before positive numbers.
    unit : str
        Appended after a no-break space.

    Returns
    -------
    str

    Examples
    --------
    >>> format_number(-0.04, 1), format_number(-3.26, 1, unit="bpm")
    ('0.0', '−3.3\\xa0bpm')
    """
    if value is None or math.isnan(value):
        return NO_VALUE
    if math.isinf(value):
        return "unbounded"
    # the noise of computing must not decide a tie: 153.75 reads the same from a plain mean and from a model
    text = f"{round(abs(value), 9):.{digits}f}"
    if float(text) != 0:
        text = (MINUS if value < 0 else "+" if sign else "") + text
    return f"{text}\N{NO-BREAK SPACE}{unit}" if unit else text


def format_p(p: float, *, equals: bool = True) -> str:
    """Write a p value: three decimals without a leading zero, or "< .001".

    Parameters
    ----------
    p : float
        Between 0 and 1.
    equals : bool
        Write "= .123" instead of ".123", to follow a "p".

    Returns
    -------
    str

    Examples
    --------
    >>> format_p(0.0004), format_p(0.0312), format_p(0.9996)
    ('< .001', '= .031', '> .999')
    """
    if p is None or math.isnan(p):
        return NO_VALUE
    if p < 0.001:
        return "< .001"
    if p > 0.999:
        return "> .999"
    text = f"{p:.3f}"[1:]
    return f"= {text}" if equals else text


def format_ci(low: float, high: float, digits: int = 1, *, unit: str = "") -> str:
    """Write an interval as "low to high"; an infinite limit reads "unbounded".

    Parameters
    ----------
    low, high : float
        The limits.
    digits : int
        Decimals.
    unit : str
        Appended once, at the end.

    Returns
    -------
    str

    Examples
    --------
    >>> format_ci(-7.2, 1.04, 1, unit="bpm")
    '−7.2 to 1.0\\xa0bpm'
    """
    return f"{format_number(low, digits)} to {format_number(high, digits, unit=unit)}"


def round_inward(value: float, digits: int = 1, *, up: bool = False) -> float:
    """Round a limit down, or up, for reading, so that "no higher than", or "no lower than", stays true."""
    scaled = value * 10**digits
    return (math.ceil(scaled - 1e-9) if up else math.floor(scaled + 1e-9)) / 10**digits


def format_reach(high: float, low: float, digits: int = 1, *, unit: str = "") -> str:
    """Write how far out values off a scale may lie, rounded towards the scale so that what is said of them stays true."""
    parts = []
    if not math.isnan(high):
        parts.append(f"HI \N{LESS-THAN OR EQUAL TO} {format_number(round_inward(high, digits), digits)}")
    if not math.isnan(low):
        parts.append(f"LO \N{GREATER-THAN OR EQUAL TO} {format_number(round_inward(low, digits, up=True), digits)}")
    text = join_words(parts)
    return f"{text}\N{NO-BREAK SPACE}{unit}" if unit else text


def format_df(df: float) -> str:
    """Write degrees of freedom: whole where whole, else one decimal."""
    if df is None or math.isnan(df):
        return NO_VALUE
    return f"{df:.0f}" if abs(df - round(df)) < 1e-6 else f"{df:.1f}"


def format_percent(share: float, digits: int = 0) -> str:
    """Write a share between 0 and 1 as a percentage.

    Parameters
    ----------
    share : float
    digits : int

    Returns
    -------
    str

    Examples
    --------
    >>> format_percent(0.625)
    '62\\xa0%'
    """
    return format_number(100 * share, digits, unit="%")


def join_words(words: Sequence[str], last: str = "and") -> str:
    """Join words as a sentence does: "a, b and c".

    Parameters
    ----------
    words : sequence of str
    last : str
        The word before the last one.

    Returns
    -------
    str

    Examples
    --------
    >>> join_words(["heart rate", "lactate", "exertion"])
    'heart rate, lactate and exertion'
    """
    words = [str(w) for w in words]
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def lower_first(text: str) -> str:
    """Write a label as it reads inside a sentence: its first letter small.

    Parameters
    ----------
    text : str

    Returns
    -------
    str

    Examples
    --------
    >>> lower_first("Heart rate")
    'heart rate'
    """
    return text[:1].lower() + text[1:]


def upper_first(text: str) -> str:
    """Write words as they read at the start of a sentence: their first letter a capital.

    Parameters
    ----------
    text : str

    Returns
    -------
    str

    Examples
    --------
    >>> upper_first("blood lactate")
    'Blood lactate'
    """
    return text[:1].upper() + text[1:]


def plural(count: int, singular: str, many: str = "") -> str:
    """Write a count with its noun.

    Parameters
    ----------
    count : int
    singular, many : str
        The noun; `many` defaults to singular + "s".

    Returns
    -------
    str

    Examples
    --------
    >>> plural(1, "athlete"), plural(3, "athlete")
    ('1 athlete', '3 athletes')
    """
    return f"{count} {singular if count == 1 else many or singular + 's'}"


def format_level(level: float) -> str:
    """Name the level of an interval in a sentence: "95 % confidence"."""
    return f"{format_percent(level, 0 if round(100 * level, 6).is_integer() else 1)} confidence"
