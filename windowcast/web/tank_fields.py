"""The fields of the tank sheet's form, and of the record that it becomes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from windowcast.report.catalogue import Voice
from windowcast.web.fields import Field, Kind
from windowcast.web.sites import KnownSite
from windowcast.windows.model import PURPOSES
from windowcast.windows.purposes import purpose_of

PRODUCTS = 4
AMOUNTS = ("area", "carrier", "tank", "speed", "spacing", "flow")
_NOZZLES = frozenset({"speed", "spacing", "flow"})
ASKS = frozenset({*AMOUNTS, "where", "purpose", "sprayer", "start", "actives", "p0.name"})
_HINTED = frozenset({
    "start", "end", "name", "rate", "concentration", "formulation", "share", "max_per_year",
    "where", "area", "carrier", "tank", "speed", "spacing", "flow",
})  # fmt: skip
PRODUCT_KEYS = ("rate", "concentration", "formulation", "share", "max_per_year")


def _field(name: str, voice: Voice, kind: Kind = "text", **more: Any) -> Field:
    """A field with the label and the hint of its name, which may be that of a row."""
    key = name.rpartition(".")[2]
    if "hint" not in more and key in _HINTED:
        more["hint"] = voice.say(f"sheet_field.hint.{key}")
    return Field(name, voice.say(f"sheet_field.label.{key}"), kind, **more)


def product_fields(row: int, voice: Voice) -> tuple[Field, ...]:
    """The fields of one product."""
    name = _field(f"p{row}.name", voice, needed=row == 0)
    return (name, *(_field(f"p{row}.{key}", voice) for key in PRODUCT_KEYS))


@dataclass(frozen=True)
class FieldGroup:
    """Fields of the form that belong together: those that are needed first, more under a name."""

    name: str
    fields: tuple[Field, ...]
    more_name: str
    more: tuple[Field, ...]

    def shows(self, typed: Mapping[str, str], wrong: Mapping[str, str]) -> bool:
        """Whether anything of it is filled in or wrong, so that it must stand open."""
        return any(typed.get(f.name) or f.name in wrong for f in (*self.fields, *self.more))

    def shows_more(self, typed: Mapping[str, str], wrong: Mapping[str, str]) -> bool:
        """The same of what is under a name of its own."""
        return any(typed.get(field.name) or field.name in wrong for field in self.more)


def form_groups(site: KnownSite, typed: Mapping[str, str], voice: Voice) -> tuple[FieldGroup, ...]:
    """The fields of the form in groups: ground and sprayer, then each product."""
    label, ground = voice.say("sheet_field.of_label"), _sprayer_fields(site, typed, voice)
    of_nozzles = tuple(field for field in ground if field.name in _NOZZLES)
    products = []
    for row in range(PRODUCTS):
        name, rate, *more = product_fields(row, voice)
        title = voice.say("sheet_field.product", number=row + 1)
        products.append(FieldGroup(title, (name, rate), label, tuple(more)))
    return (
        FieldGroup(
            voice.say("sheet_field.ground"),
            tuple(field for field in ground if field not in of_nozzles),
            voice.say("sheet_field.nozzles"),
            of_nozzles,
        ),
        *products,
    )


def _sprayer_fields(site: KnownSite, typed: Mapping[str, str], voice: Voice) -> tuple[Field, ...]:
    """The fields of ground and sprayer; hints say what counts where one is left empty."""
    assert site.site is not None
    sprayers = site.site.sprayer
    named = next((s for s in sprayers if s.name == typed.get("sprayer")), None)
    kept = named or (sprayers[0] if len(sprayers) == 1 else None)
    unsaid = ("", voice.say("form.not_said"))

    def amount(name: str, *, needed: bool = False) -> Field:
        own = getattr(kept, name, "") if kept is not None else ""
        if own:
            return _field(name, voice, hint=voice.say("sheet_field.kept", kept=str(own)))
        return _field(name, voice, needed=needed)

    where, area = _field("where", voice), _field("area", voice, needed=not site.site.area)
    if site.site.area:
        areas = ", ".join(f"{a.name} {a.size}".strip() for a in site.site.area)
        hint = voice.say("sheet_field.one_of", areas=areas)
        where = _field("where", voice, needed=True, hint=hint)
        area = _field("area", voice, hint=voice.say("sheet_field.size_of_areas"))
    options = (unsaid, *((s.name, s.name) for s in sprayers))
    choose = (_field("sprayer", voice, "choice", options=options),) if len(sprayers) > 1 else ()
    purposes = ((name, voice.text(purpose_of(name).title)) for name in PURPOSES)
    return (
        _field("purpose", voice, "choice", options=(unsaid, *purposes)),
        where,
        area,
        *choose,
        *(amount(name, needed=name in {"carrier", "tank"}) for name in AMOUNTS[1:]),
    )


def record_fields(site: KnownSite, voice: Voice) -> tuple[Field, ...]:
    """What is asked for the record beside the sheet."""
    assert site.site is not None
    weeds = tuple((code, voice.say(f"weed.{code}")) for code in site.site.weeds)
    times = (
        _field("start", voice, "moment", needed=True),
        _field("end", voice, "moment"),
    )
    people = (_field("operator", voice), _field("certification", voice))
    options = (("", voice.say("form.not_said")), *weeds)
    return (*times, *people, _field("target", voice, "choice", options=options))
