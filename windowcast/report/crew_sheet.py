"""The crew sheet: one page for whoever sprays, with what is needed at the tank and no more."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from textwrap import wrap
from typing import cast

from windowcast.core.phrase import Name, Phrase, Quantity, Span, Value, say
from windowcast.core.values import PACKAGED, Tables
from windowcast.limits.tank import is_unknown
from windowcast.materials.actives import Active
from windowcast.materials.tank import Dose
from windowcast.records.tank_job import TankJob
from windowcast.report.catalogue import Voice
from windowcast.report.tank_sheet import WIDTH, dose_text, mixing_lines, to_width
from windowcast.windows.model import CAUTIONS, Window

SIGNED = ("operator", "certification", "date", "began", "ended", "wind", "loads", "signature",
          "supervisor")  # fmt: skip


@dataclass(frozen=True)
class CrewSheet:
    """The sheet in words.

    Attributes
    ----------
    first
        Whether to begin: never before somebody answers for what is not known.
    refusals
        Why nothing may be sprayed; then neither `rows` nor `loads` say how it would be done.
    rows
        Label and lines of each thing to know.
    loads
        Of each size of load its heading and steps.
    signs
        What is written in by hand.
    """

    title: str
    site: str
    made: str
    first: str
    refusals: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    loads: tuple[tuple[str, ...], ...]
    cautions: tuple[str, ...]
    signs: tuple[str, ...]


def crew_sheet(
    job: TankJob,
    actives: Mapping[str, Active],
    *,
    window: Window | None,
    asked: tuple[dt.datetime, dt.datetime] | None,
    today: dt.date,
    voice: Voice,
    tables: Tables = PACKAGED,
) -> CrewSheet:
    """What the operator needs of a tank.

    Parameters
    ----------
    window
        That is to be used, with what must follow it; None where there is none.
    asked
        Hours that somebody wrote down, on the site's clock; their weather is not judged.
    today
        On which the sheet is made.
    """
    cleared = _cleared(job, window)
    refusals = job.sheet.refusals
    where = [Name(job.asked.where)] if job.asked.where else []
    rows: list[tuple[str, list[Value]]] = [
        ("area", [*where, say("crew.size", area=Quantity(job.sheet.area_m2, "m2"))])
    ]
    if not refusals:
        rows += [
            ("hours", [_hours(window, asked)]),
            ("products", [line for dose in job.sheet.totals_used for line in _dose(dose, actives)]),
            ("water", [_water(job)]),
            ("wind", [_wind(job, tables)]),
            ("afterwards", _afterwards(window)),
            ("entry", _entry(job, actives)),
        ]
    return CrewSheet(
        title=voice.say("crew.title"),
        site=job.site.name if job.site is not None else "",
        made=voice.say("crew.made", day=today),
        first=voice.say("crew.first.refused" if refusals else f"crew.first.{cleared}"),
        refusals=tuple(map(voice.text, refusals)),
        rows=tuple(
            (voice.say(f"crew.row.{name}"), tuple(voice.write(line, "cap") for line in lines))
            for name, lines in rows
        ),
        loads=() if refusals else tuple(map(tuple, mixing_lines(job.sheet, voice))),
        cautions=tuple(map(voice.text, (*job.sheet.other_cautions, *CAUTIONS))),
        signs=tuple(voice.say(f"crew.sign.{name}") for name in SIGNED),
    )


def _cleared(job: TankJob, window: Window | None) -> str:
    """``go`` where a fit window was ranked for these actives and nothing that limits is unknown.

    What limits is the turf, and how much of an active the label allows in a year. A product whose
    active nobody named was ranked for no window.
    """
    tank = {dose.product.active for dose in job.sheet.loads[0].doses if not dose.product.adjuvant}
    ranked = (
        window is not None
        and window.verdict == "fit"
        and bool(tank)
        and tank <= set(window.actives)
    )
    return "go" if ranked and not any(map(is_unknown, job.sheet.cautions)) else "unsigned"


def _hours(window: Window | None, asked: tuple[dt.datetime, dt.datetime] | None) -> Phrase:
    if window is not None:
        hours = say("crew.at", day=window.date, hours=Span(window.start, window.end))
        if window.verdict == "fit":
            return hours
        verdict = say(f"window_verdict.{window.verdict.replace(' ', '_')}")
        return say("crew.judged", hours=hours, verdict=verdict)
    if asked is not None:
        return say("crew.unjudged", hours=say("crew.at", day=asked[0].date(), hours=Span(*asked)))
    return say("crew.no_hours")


def _dose(dose: Dose, actives: Mapping[str, Active]) -> list[Value]:
    """A product with its active and group, and how much of it goes on."""
    product, active = dose.product, dose.product.active
    known = actives.get(active) if active else None
    group = int(float(known.group)) if known is not None else 0
    name: Value = Name(product.name)
    if active == product.name and group:
        name = say("crew.alone_of_group", product=name, group=group)
    elif active and group:
        name = say("crew.of_group", product=name, active=Name(active), group=group)
    elif active and active != product.name:
        name = say("crew.of_active", product=name, active=Name(active))
    total, rate = Name(dose_text(dose)), Name(product.rate_text)
    return [say("crew.dose", product=name, rate=rate, total=total)]


def _water(job: TankJob) -> Phrase:
    carrier, total = Quantity(job.sheet.carrier_l_ha, "L ha-1"), Quantity(job.sheet.total_l, "L")
    return say("crew.carrier", carrier=carrier, total=total)


def _wind(job: TankJob, tables: Tables) -> Phrase:
    """The sprayer's own limit, else the last wind that is not a no."""
    own = job.site.equipment.wind_max_m_s if job.site is not None else None
    usual = cast("list[float]", tables["criteria"].table("wind").value("at").value)[-2]
    return say("crew.most_wind", wind=Quantity(usual if own is None else min(own, usual), "m s-1"))


def _afterwards(window: Window | None) -> list[Value]:
    if window is None or not window.follow_up:
        return [say("crew.follow_label")]
    return [item.text for item in window.follow_up]


def _entry(job: TankJob, actives: Mapping[str, Active]) -> list[Value]:
    """Re-entry as the user's label has it, never shorter than until the turf is dry."""
    lines: list[Value] = []
    for name in dict.fromkeys(d.product.active for d in job.sheet.loads[0].doses):
        if name and (known := actives.get(name)) is not None and known.reentry:
            entry = Name(str(known.reentry.value))
            lines.append(say("crew.entry_of", active=Name(name), entry=entry))
    return [*lines, say("crew.entry_label")]


def crew_text(sheet: CrewSheet) -> str:
    """The sheet as plain text for the terminal or a printer."""
    head = " · ".join(part for part in (sheet.title, sheet.site) if part)
    lines = [head, "=" * min(len(head), WIDTH), sheet.made, "", sheet.first, *sheet.refusals, ""]
    wide = max(len(label) for label, _ in sheet.rows) + 2
    for label, texts in sheet.rows:
        for place, text in enumerate(texts):
            start = f"{'' if place else label:<{wide}}"
            lines += wrap(text, WIDTH, initial_indent=start, subsequent_indent=" " * wide)
    for load in sheet.loads:
        lines += ["", *load]
    lines.append("")
    for text in sheet.cautions:
        lines += wrap(text, WIDTH, initial_indent="! ", subsequent_indent="  ")
    lines += ["", *(f"{label} ".ljust(WIDTH, "_") for label in sheet.signs)]
    return "\n".join(part for line in lines for part in to_width(line))


def render_crew(sheet: CrewSheet, voice: Voice) -> str:
    """The sheet as a self-contained page that prints on one side."""
    from windowcast.report.page import page_of, style_sheet

    return page_of("crew_page.html", voice, crew=sheet, style=style_sheet())
