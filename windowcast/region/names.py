"""Names that people give to regions and stations: shown as they are, and each written one way."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from os import PathLike

from windowcast.core.errors import InputError

LONGEST = 80  # letters of a name
MOST_REGIONS = 250  # that are compared: each pair in each quantity


def shown_name(
    text: str, *, field: str, path: str | PathLike[str] | None = None, row: int | None = None
) -> str:
    """A name as it is shown: in composed letters (Unicode NFC), words apart by one space.

    Raises
    ------
    InputError
        It has a character that cannot be shown, or is longer than `LONGEST`.

    Examples
    --------
    >>> from windowcast.region.names import shown_name
    >>> shown_name(" Gulf\\n Coast", field="region")
    'Gulf Coast'
    """
    name = unicodedata.normalize("NFC", " ".join(text.split()))
    if not name.isprintable():
        raise InputError(
            f"the name {name[:LONGEST]!r} has a character that cannot be shown",
            path=path, row=row, field=field, remedy="take it out",
        )  # fmt: skip
    if len(name) > LONGEST:
        raise InputError(
            f"the name '{name[:20]}…' has {len(name)} letters",
            path=path, row=row, field=field, remedy=f"give at most {LONGEST}",
        )  # fmt: skip
    return name


class Spellings:
    """Names that were seen, to refuse one that differs from another in capitals alone."""

    def __init__(self) -> None:
        self._seen: dict[str, tuple[str, int | None]] = {}

    def check(
        self,
        name: str,
        *,
        field: str,
        path: str | PathLike[str] | None = None,
        row: int | None = None,
    ) -> None:
        """Look at one more name, as `shown_name` gives it.

        Raises
        ------
        InputError
            It was written with other capitals before.
        """
        first, where = self._seen.setdefault(name.casefold(), (name, row))
        if first != name:
            before = f" in row {where}" if where is not None else ""
            raise InputError(
                f"'{name}' is written '{first}'{before}",
                path=path, row=row, field=field, remedy="write one region one way",
            )  # fmt: skip


def refuse_many(regions: Iterable[str], *, field: str) -> None:
    """Refuse more regions than can be compared with one another.

    Raises
    ------
    InputError
        There are more than `MOST_REGIONS`.
    """
    count = len({region for region in regions if region})
    if count > MOST_REGIONS:
        raise InputError(
            f"names {count} regions, and at most {MOST_REGIONS} can be compared",
            field=field,
            remedy="take a column that puts stations together, or none",
        )
