"""How right forecasts were at the user's site, in words: for the terminal and the page's card."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from windowcast.core.phrase import Name, Phrase, Quantity, Share, Value, joined, names, say
from windowcast.core.values import PACKAGED
from windowcast.report.catalogue import Voice
from windowcast.verify.advice_kept import AdviceHere, SeasonsHere, Sprayed
from windowcast.verify.here import HereReport, HereSpan, OddsBin, Off, Windows
from windowcast.verify.remember import HOURS_UNKNOWN
from windowcast.windows.reasons import label

SHOWN_LEADS = (0, 1, 3, 5, 7)
EVEN_K = 0.25  # a mean miss below this is none to speak of
OWN = "windowcast"
FEWEST_SEASONS = 5  # that tell a difference


@dataclass(frozen=True)
class HereView:
    """Title, what stands under it, and each span's head with its lines."""

    title: str
    notes: tuple[str, ...]
    spans: tuple[tuple[str, tuple[str, ...]], ...]


def here_view(report: HereReport, voice: Voice) -> HereView:
    """The report made ready for page and terminal."""
    notes = [say("here.on_record", count=report.issues) if report.issues else say("here.nothing")]
    if report.issues and report.measured_by:
        notes.append(say("here.against", by=names(*report.measured_by)))
    spans = []
    for span in report.spans if report.issues else ():
        lines = [voice.text(line) for line in _lines(span)]
        head = voice.say("here.last_days", days=span.days)
        spans.append((head, tuple(lines) or (voice.say("here.none_due"),)))
    spans.append((voice.say("here.advice.title"), tuple(map(voice.text, _advice(report.advice)))))
    return HereView(
        voice.say("here.title", site=Name(report.site)),
        tuple(voice.text(note) for note in notes),
        tuple(spans),
    )


def here_lines(report: HereReport, voice: Voice) -> list[str]:
    """The report for the terminal, a line each."""
    view = here_view(report, voice)
    lines = [view.title, *view.notes]
    for head, said in view.spans:
        lines += ["", head, *(f"  {line}" for line in said)]
    return lines


def _lines(span: HereSpan) -> Iterator[Phrase]:
    for off in span.off:
        told_by_day = off.source != OWN or off.element == "soil_5cm_c"
        if off.lead_days in SHOWN_LEADS and told_by_day:
            yield _off(off)
    band = [o for o in span.off if o.source == OWN and o.enough and o.inside_10_90 is not None]
    for off in band:
        if off.lead_days in SHOWN_LEADS:
            yield say("here.band", what=_what(off), share=Share(off.inside_10_90 or 0.0),
                      days=off.inside_cases)  # fmt: skip
    for rain in span.rain:
        if rain.lead_days in SHOWN_LEADS:
            of = say("here.of_rain", ahead=rain.lead_days)
            told = say("here.rain", ahead=rain.lead_days, said=Share(rain.said),
                       came=Share(rain.came), days=rain.cases)  # fmt: skip
            yield told if rain.enough else _few(of, rain.cases)
    yield from _windows(span.windows)


def _advice(known: AdviceHere) -> Iterator[Phrase]:
    """What the past seasons say of spraying as advised; why they say nothing."""
    if known.refused:
        yield known.refused
        return
    found = known.kept
    if found is None:
        yield say("here.advice.none")
        return
    first, last = (Name(f"{y}/{(y + 1) % 100:02}") for y in (found.first, found.last))
    advised = _sprayed(found.advice)
    if found.seasons == 1:
        yield say("here.advice.advised_once", first=first, **advised)
    else:
        seasons = found.seasons
        yield say("here.advice.advised", seasons=seasons, first=first, last=last, **advised)
    yield say("here.advice.calendar", **_sprayed(found.calendar))
    yield _gain(found)
    water = say("here.advice.irrigated") if found.irrigated else say("here.advice.dry")
    yield say("here.advice.basis", water=water)
    if not known.same_grass:
        yield say("here.advice.other_grass")


def _sprayed(by: Sprayed) -> dict[str, Value]:
    shares = {"POAAN": by.winter[0], "DIGSA": by.summer[0]}
    known = [
        say("here.advice.share", share=Share(share), weed=say(f"weed.{code}"))
        for code, share in shares.items()
        if share is not None
    ]
    hurt = Quantity(by.hurt[0] or 0.0, "1", "days")
    harm = say("here.advice.hurt", days=hurt) if hurt.value else say("here.advice.no_hurt")
    sprays = Quantity(by.sprays[0] or 0.0, "1", "days")
    return {"what": joined(*known, join="and"), "sprays": sprays, "harm": harm}


def _gain(found: SeasonsHere) -> Phrase:
    """The advice against the calendar, season by season."""
    mean, low, high = found.gain
    if found.seasons < FEWEST_SEASONS or mean is None or low is None or high is None:
        return say("here.advice.few", seasons=found.seasons)
    name = "even" if low <= 0 <= high else "more" if mean > 0 else "less"
    if name == "less":
        mean, low, high = -mean, -high, -low
    points = [Quantity(100 * share, "1", "points") for share in (mean, low, high)]
    return say(f"here.advice.{name}", **dict(zip(("by", "low", "high"), points, strict=True)))


def _off(off: Off) -> Phrase:
    """How far one element was off."""
    if not off.enough:
        return _few(_what(off), off.cases)
    way = say("here.even")
    if abs(off.bias_k) >= max(EVEN_K, off.bias_doubt_k):
        by = Quantity(abs(off.bias_k), "K")
        way = say("here.warmer", by=by) if off.bias_k > 0 else say("here.colder", by=by)
    return say("here.off", what=_what(off), off=Quantity(off.mae_k, "K"), way=way, days=off.cases)


def _what(off: Off) -> Phrase:
    return say(f"here.of.{off.element}", ahead=off.lead_days)


def _few(what: Phrase, days: int) -> Phrase:
    return say("here.few", what=what, days=days)


def _windows(windows: Windows) -> Iterator[Phrase]:
    """What came of the windows announced, and of their odds."""
    if not windows.announced:
        yield say("here.no_windows")
        return
    yield say("here.windows", announced=windows.announced, held=windows.held, failed=windows.failed)
    if windows.untold:
        criteria = PACKAGED["criteria"]
        lacking = [
            say("here.hours") if name == HOURS_UNKNOWN else label(name, criteria.table(name))
            for name in windows.unknown
        ]
        yield say("here.untold", count=windows.untold, unknown=joined(*lacking, join="and"))
    for one in windows.odds:
        yield _odds(one)


def _odds(one: OddsBin) -> Phrase:
    """Odds in one range, and whether what came could be luck."""
    luck = say("here.luck") if one.luck_low <= one.came <= one.luck_high else say("here.no_luck")
    return say("here.odds", said=Share(one.said), came=Share(one.came), count=one.cases,
               low=Share(one.luck_low), high=Share(one.luck_high), luck=luck)  # fmt: skip
