"""Numbers and dates out of matrices of characters, by array arithmetic.

Characters come as ``[place, ...]``: the first axis runs along a cell, from left to right. What is
not written plainly is refused (by `NotPlain`, or a mask), never guessed; careful readers then say
what it is, and in which row.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray

Bytes = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]
BLANK = ord(" ")
MOST_DIGITS = 15  # with so many, number / 10**places is rounded once, as ``float`` rounds the text
_TEN_TO = np.array([float(10**places) for places in range(MOST_DIGITS + 1)])


class NotPlain(Exception):  # noqa: N818 - no error: it asks for the careful way
    """Text is not written as plainly as the quick way needs."""


def digits(chars: Bytes) -> tuple[Bytes, Mask]:
    """The digit each character is, 0 where it is none, and whether it is one."""
    digit = chars - np.uint8(ord("0"))  # characters before "0" wrap round to large ones
    is_digit = digit <= 9
    return digit * is_digit, is_digit


def unsigned(chars: Bytes) -> npt.NDArray[np.int64]:
    """Numbers written in digits only; -1 where a character is no digit."""
    digit, is_digit = digits(chars)
    number = np.zeros(chars.shape[1:], dtype=np.int64)
    for place in digit:
        number = number * 10 + place
    return np.where(is_digit.all(axis=0), number, -1)


def right_aligned(chars: Bytes, blank: int) -> tuple[npt.NDArray[np.int32], Mask]:
    """Signed whole numbers that end at the last place, and whether each can be read.

    Parameters
    ----------
    blank
        What a cell of blanks means.
    """
    number = np.zeros(chars.shape[1:], dtype=np.int32)
    negative, started = np.zeros_like(number, dtype=bool), np.zeros_like(number, dtype=bool)
    readable = np.ones_like(number, dtype=bool)
    for char in np.ascontiguousarray(chars):
        digit, is_digit = digits(char)
        minus = (char == ord("-")) & ~started
        readable &= is_digit | minus | ((char == BLANK) & ~started)
        number = number * 10 + digit
        negative |= minus
        started |= is_digit | minus
    return np.where(started, np.where(negative, -number, number), blank), readable


def decimals(chars: Bytes) -> tuple[FloatArray, Mask]:
    """Numbers with or without minus and decimal point, and whether each is written in that way.

    To the bit what ``float`` makes of a cell; NaN where it is blank.
    """
    number = np.zeros(chars.shape[1:])
    places, count = np.zeros_like(number, dtype=np.int8), np.zeros_like(number, dtype=np.int8)
    started, ended, pointed, negative = np.zeros((4, *number.shape), dtype=bool)
    readable = np.ones_like(started)
    for char in chars:
        digit, is_digit = digits(char)
        point, minus, blank = char == ord("."), (char == ord("-")) & ~started, char == BLANK
        readable &= blank | (~ended & (is_digit | minus | (point & ~pointed)))
        number = np.where(is_digit, number * 10 + digit, number)
        count += is_digit
        places += is_digit & pointed
        pointed |= point
        negative |= minus
        ended |= blank & started
        started |= ~blank
    readable &= ((count > 0) | ~started) & (count <= MOST_DIGITS)
    value = number / _TEN_TO[np.minimum(places, MOST_DIGITS)]
    return np.where(started, np.where(negative, -value, value), np.nan), readable


def whole_numbers(chars: Bytes) -> FloatArray:
    """Whole numbers, NaN for blank cells; `NotPlain` where one is written in another way."""
    value, readable = decimals(chars)
    if not readable.all() or (chars == ord(".")).any():
        raise NotPlain
    return value + 0.0  # no -0.0: a whole number has none


def basic_dates(chars: Bytes) -> DateArray:
    """Dates written YYYYMMDD.

    Raises
    ------
    NotPlain
        One is not, or is no date of the calendar.
    """
    found, right = calendar_dates(unsigned(chars))
    if len(chars) != 8 or not right.all():
        raise NotPlain
    return found


def iso_dates(chars: Bytes) -> DateArray:
    """Dates written YYYY-MM-DD, or all YYYYMMDD; refused as in `basic_dates`."""
    if len(chars) == 10 and (chars[[4, 7]] == ord("-")).all():
        chars = chars[[0, 1, 2, 3, 5, 6, 8, 9]]
    return basic_dates(chars)


def calendar_dates(yyyymmdd: npt.NDArray[np.int64]) -> tuple[DateArray, Mask]:
    """Dates from numbers such as 20240229, and which of the numbers are dates."""
    year, month, day = yyyymmdd // 10_000, yyyymmdd // 100 % 100, yyyymmdd % 100
    months: DateArray = ((year - 1970) * 12 + month - 1).astype("datetime64[M]")
    found: DateArray = months.astype("datetime64[D]") + (day - 1).astype("timedelta64[D]")
    right = (yyyymmdd >= 0) & (month >= 1) & (month <= 12)
    right &= (day >= 1) & (found.astype("datetime64[M]") == months)
    return found, right
