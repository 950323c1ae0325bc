"""Numbers and dates out of matrices of characters, by array arithmetic.

Characters come as ``[place, ...]``: the first axis runs along a cell, from left to right. What is
not written plainly is not read but said to be unreadable; nothing here knows files or rows.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.weather.record import DateArray, FloatArray

Bytes = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]
BLANK = ord(" ")
MOST_DIGITS = 15  # with so many, number / 10**places is rounded once, as ``float`` rounds the text
_TEN_TO = 10.0 ** np.arange(MOST_DIGITS + 1)


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
        What a cell of blanks stands for.
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


def decimals(chars: Bytes) -> FloatArray | None:
    """Numbers with or without sign and decimal point, NaN for blank cells.

    Returns
    -------
    FloatArray or None
        To the bit what ``float`` makes of each cell; None when one is written in another way.
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
    if not (readable & ((count > 0) | ~started)).all() or (count > MOST_DIGITS).any():
        return None
    value = number / _TEN_TO[places]
    return np.where(started, np.where(negative, -value, value), np.nan)


def iso_dates(chars: Bytes) -> DateArray | None:
    """Dates written YYYY-MM-DD or YYYYMMDD, all in the same way; None when one is no date."""
    if len(chars) == 10 and (chars[[4, 7]] == ord("-")).all():
        chars = chars[[0, 1, 2, 3, 5, 6, 8, 9]]
    if len(chars) != 8:
        return None
    found, right = calendar_dates(unsigned(chars))
    return found if right.all() else None


def calendar_dates(yyyymmdd: npt.NDArray[np.int64]) -> tuple[DateArray, Mask]:
    """Dates from numbers such as 20240229, and which of the numbers are dates."""
    year, month, day = yyyymmdd // 10_000, yyyymmdd // 100 % 100, yyyymmdd % 100
    months: DateArray = ((year - 1970) * 12 + month - 1).astype("datetime64[M]")
    found: DateArray = months.astype("datetime64[D]") + (day - 1).astype("timedelta64[D]")
    right = (yyyymmdd >= 0) & (month >= 1) & (month <= 12)
    right &= (day >= 1) & (found.astype("datetime64[M]") == months)
    return found, right
