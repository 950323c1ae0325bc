"""The spray record sheet: what record-keeping rules ask of an application, item by item."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from windowcast.core import values
from windowcast.core.phrase import NOTHING, Name, Phrase, Quantity, Unit, Value, joined, names, say
from windowcast.records.model import Application, Material, fields_of
from windowcast.report.catalogue import Voice
from windowcast.report.log_entries import job_said, weed_said

WIDTH = 78  # of a page of plain text
_LABEL = 42
_MATERIAL_FIELDS = frozenset(field.name for field in fields_of("material"))


@dataclass(frozen=True, slots=True)
class SheetItem:
    """One line of the sheet; `missing` marks an item that is asked for and not there."""

    label: str
    text: str
    asked: bool
    missing: bool


@dataclass(frozen=True, slots=True)
class RecordSheet:
    """The sheet of one application: a block of items for it and one for each material."""

    title: str
    source: str
    common: tuple[SheetItem, ...]
    materials: tuple[tuple[SheetItem, ...], ...]
    note: str
    often_missing: tuple[str, ...] = ()  # of what states often ask for besides

    @property
    def missing(self) -> tuple[str, ...]:
        """Labels of what is asked for and not entered."""
        items = [*self.common, *(item for block in self.materials for item in block)]
        return tuple(dict.fromkeys(item.label for item in items if item.missing))


def record_sheet(application: Application, voice: Voice) -> RecordSheet:
    """The record of an application, with the items of the US federal list and those states add."""
    known = values.load("record_rules", "windowcast.report")
    rules, states = known.table("federal"), known.table("states")
    asked: Sequence[str] = rules.value("items").value

    def label(field: str) -> str:
        return voice.say(f"record_item.{field}")

    common = [
        _item(label(field), _common(application, field, voice), asked=True, voice=voice)
        for field in asked
        if field not in _MATERIAL_FIELDS
    ]
    common += [
        _item(name, text, asked=False, voice=voice)
        for name, text in _often_asked(application, voice)
    ]
    blocks = []
    for material in application.materials:
        block = [_item(label("active"), _active(material, voice), asked=False, voice=voice)]
        block += [
            _item(label(field), str(getattr(material, field)), asked=True, voice=voice)
            for field in asked
            if field in _MATERIAL_FIELDS
        ]
        block.append(
            _item(
                label("restricted"), _yes_no(material.restricted, voice), asked=False, voice=voice
            )
        )
        if material.product_rate:
            block.append(
                _item(label("product_rate"), material.product_rate, asked=False, voice=voice)
            )
        blocks.append(tuple(block))
    items = rules.value("items")
    note = say(
        "record.note",
        days=int(rules.number("within_days")),
        years=int(rules.number("keep_years")),
        source=Name(items.source),
    )
    often: Sequence[str] = states.value("items").value
    return RecordSheet(
        title=voice.say("record.title"),
        source=items.source,
        common=tuple(common),
        materials=tuple(blocks),
        note=voice.text(note),
        often_missing=tuple(label(field) for field in often if not _known(application, field)),
    )


def lacking(sheet: RecordSheet) -> list[Phrase]:
    """What the record still lacks, by each of the rules that ask for it; or that nothing does."""
    found = []
    if sheet.missing:
        items = names(*sheet.missing, join="clauses")
        found.append(say("record.lacks", source=Name(sheet.source), items=items))
    if sheet.often_missing:
        found.append(say("record.lacks_often", items=names(*sheet.often_missing, join="clauses")))
    return found or [say("record.complete", source=Name(sheet.source))]


def _known(application: Application, field: str) -> bool:
    """Whether a field of an application, or of all its materials, was entered."""
    of = application.materials if field in _MATERIAL_FIELDS else (application,)
    return all(getattr(one, field) not in (None, "") for one in of)


def sheet_lines(sheet: RecordSheet, voice: Voice) -> list[str]:
    """The sheet as text lines to print; ``*`` marks what the rule asks for."""
    lines = [sheet.title, "-" * len(sheet.title)]
    lines += [part for item in sheet.common for part in _lines(item)]
    for number, block in enumerate(sheet.materials, start=1):
        heading = voice.say("record.material", number=number)
        lines += ["", heading, *(part for item in block for part in _lines(item))]
    ends = [voice.say("record.asked_by", source=Name(sheet.source)), sheet.note]
    if sheet.missing:
        ends.append(voice.say("record.still", items=names(*sheet.missing, join="clauses")))
    return [*lines, "", *(part for text in ends for part in wrap(text, WIDTH))]


def _lines(item: SheetItem) -> list[str]:
    head = f"{'*' if item.asked else ' '} {item.label + ': ':<{_LABEL}}"
    return wrap(item.text, WIDTH, initial_indent=head, subsequent_indent=" " * len(head))


def _item(label: str, text: str, voice: Voice, *, asked: bool) -> SheetItem:
    shown = text or voice.say("record.not_entered")
    return SheetItem(label, shown, asked, missing=asked and not text)


def _common(application: Application, field: str, voice: Voice) -> str:
    if field == "date":
        return application.date.isoformat()
    if field == "area_m2":
        return _both(application.area_m2, "m2", voice)
    return str(getattr(application, field))


def _both(value: float | None, unit: Unit, voice: Voice) -> str:
    """A quantity in both systems; "" where it was not entered."""
    return "" if value is None else voice.write(Quantity(value, unit), "both")


def _active(material: Material, voice: Voice) -> str:
    rate = material.rate_kg_ha
    dose: Value = NOTHING if rate is None else Name(_both(rate, "kg ha-1", voice))
    return voice.write(joined(Name(material.active), dose, join="comma"))


def _yes_no(flag: bool | None, voice: Voice) -> str:
    return "" if flag is None else voice.say("record.yes" if flag else "record.no")


def _often_asked(a: Application, voice: Voice) -> list[tuple[str, str]]:
    """What states and insurers often ask for besides (common practice)."""
    wind = _both(a.wind_m_s, "m s-1", voice)
    if wind and a.wind_from_deg is not None:
        bearing = Quantity(a.wind_from_deg, "degree")
        wind = voice.say("record.wind", wind=Name(wind), bearing=bearing)
    end: Value = say("record.until", end=a.end) if a.end else NOTHING
    time = voice.say("record.time", start=a.start, end=end, zone=Name(f"{a.start:%z}"))
    humidity = "" if a.rh_pct is None else voice.write(Quantity(round(a.rh_pct), "%"))
    said = {
        "target": voice.write(weed_said(a.target)),
        "purpose": voice.write(job_said(a.purpose)),
        "carrier_l_ha": _both(a.carrier_l_ha, "L ha-1", voice),
        "nozzle": voice.write(names(a.nozzle, a.droplet_class, join="comma")),
        "adjuvant": a.adjuvant,
        "wind_m_s": wind,
        "temp_c": _both(a.temp_c, "degC", voice),
        "rh_pct": humidity,
        "weather_source": a.weather_source,
        "notes": a.notes,
    }
    rows = [(voice.say(f"record_item.{name}"), text) for name, text in said.items()]
    return [(voice.say("record.clock"), time), *rows]
