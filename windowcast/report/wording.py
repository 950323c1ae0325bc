"""The parts of a `Ranking` in words, in the reader's language and units."""

from __future__ import annotations

from collections.abc import Sequence

from windowcast.core.phrase import (
    NOTHING,
    Listing,
    Name,
    Phrase,
    Quantity,
    Share,
    Span,
    Value,
    joined,
    names,
    say,
    sentences,
)
from windowcast.limits.model import refused
from windowcast.materials.rotation import named_groups
from windowcast.report.catalogue import Voice
from windowcast.windows import reasons
from windowcast.windows.covers import laid_on
from windowcast.windows.model import (
    Choice,
    Job,
    Judged,
    Odds,
    PurposeName,
    PurposeOutlook,
    Ranking,
    StockFit,
    Verdict,
    Window,
)

CANDIDATES = 3  # windows of a purpose that are shown
SYMBOLS: dict[Verdict, str] = {"fit": "●", "marginal": "◐", "unfit": "○", "cannot tell": "?"}


def quantity(value: float | None, unit: str, voice: Voice) -> str:
    """A value in SI with a unit of the criteria, written in the reader's units; "–" for None."""
    return "–" if value is None else voice.write(reasons.measured(value, unit))


def hours(window: Window, voice: Voice) -> str:
    """``10:00–15:00`` in the site's time."""
    return voice.write(Span(window.start, window.end), "clock")


def score(window: Window) -> str:
    """``78``, or "?" when it cannot be told."""
    return "?" if window.score is None else f"{window.score:.0f}"


def odds(odds_: Odds | None) -> Value:
    """``72 % (64–79)``; "–" without members to count."""
    if odds_ is None:
        return Name("–")
    ends = {"share": Share(odds_.share), "low": Share(odds_.low), "high": Share(odds_.high)}
    return say("report.odds", **ends)


def odds_basis(odds_: Odds) -> Phrase:
    """How the odds of a window were counted."""
    basis = say(f"basis.{_key(odds_.basis)}")
    return say("report.odds_basis", members=odds_.members, basis=basis)


def verdict(of: str) -> Phrase:
    """A verdict in words."""
    return say(f"window_verdict.{_key(of)}")


def _key(words: str) -> str:
    """The id of a fixed choice: ``cannot tell`` is ``cannot_tell``."""
    return words.replace(" ", "_").replace("-", "_")


def limit(judged: Judged | None) -> Phrase:
    """What holds a window down: ``air temperature: 9 °C, slow uptake``."""
    if judged is None:
        return say("report.nothing")
    return reasons.because(judged.label, judged.reason)


def held(window: Window) -> list[Judged]:
    """The checks that hold a window back or cannot be made, the lowest first."""
    worst = [j for j in window.judged if j.score is None or j.score < 1]
    return sorted(worst, key=lambda j: -1.0 if j.score is None else j.score)


def met(window: Window) -> list[Phrase]:
    """The checks of a window that are met in full, in one line."""
    labels = [j.label for j in window.judged if j.score is not None and j.score >= 1]
    return [say("board.met", checks=joined(*labels, join="comma"))] if labels else []


def values_used(ranking: Ranking) -> list[Phrase]:
    """What the checks of the weather found, the values behind what holds the best windows back,
    and where all the others stand.
    """
    best = [w for o in ranking.purposes for w in (*o.windows, *filter(None, [o.closest]))[:1]]
    names_ = {judged.criterion for window in best for judged in held(window)}
    lines = []
    for line in ranking.explain:
        cited = line.value("cited") if line.id == "trace.value" else None
        path = cited.text.split(".") if isinstance(cited, Name) else []
        if names_ & set(path[:4]) or line.id not in ("trace.value", "trace.criterion"):
            lines.append(line)
    if len(lines) == len(ranking.explain):
        return lines
    return [*lines, say("board.values_rest", count=len(ranking.explain) - len(lines))]


def _follow_ups(window: Window) -> Listing:
    return joined(*(item.text for item in window.follow_up), join="clauses")


def must_follow(window: Window, voice: Voice) -> str:
    """Every follow-up of a window in one line."""
    return voice.write(_follow_ups(window)) or "–"


def answer_said(word: str) -> Phrase:
    """An `answer_word` as people read it."""
    return say(f"answer.{_key(word)}")


def short_title(purpose: PurposeName) -> Phrase:
    """A purpose where there is little room: ``fall pre``."""
    return say(f"purpose.{purpose}.short")


def ground(site: str, areas: Sequence[str]) -> str:
    """A site with the areas that something is about: ``Park: field 1, field 2``."""
    return f"{site}: {', '.join(areas)}" if areas else site


def job_lines(outlook: PurposeOutlook) -> list[Phrase]:
    """What was done for a purpose and what is left to do, where its advice does not say it."""
    job = outlook.job
    if job is None or outlook.advice == _job_text(job):
        return []
    return [phrase for phrase in (job.text, job.to_do) if phrase]


def _job_text(job: Job) -> Phrase:
    return sentences(job.text, job.to_do)


def out_of_season(outlook: PurposeOutlook) -> Phrase:
    """When a closed purpose opens, and why it is closed."""
    if outlook.advice:
        return say("report.closed", title=outlook.title, advice=outlook.advice)
    if outlook.opens is None:
        return say("report.closed_why", title=outlook.title, why=outlook.why)
    return say("report.closed_opens", title=outlook.title, why=outlook.why, opens=outlook.opens)


def in_season(outlook: PurposeOutlook) -> Phrase:
    """Why a purpose is open and when it closes."""
    if outlook.closes is None:
        return say("report.open", why=outlook.why)
    return say("report.open_closes", why=outlook.why, closes=outlook.closes)


def stock(fit: StockFit) -> Phrase:
    """What an active at hand would do: ``metribuzin: fit, Sat 20 Jan 14:00, score 68; ...``."""
    return say(
        "stock.fit",
        active=Name(fit.active),
        verdict=verdict(fit.verdict),
        when=say("stock.when", start=fit.start) if fit.start else NOTHING,
        points=NOTHING
        if fit.score is None
        else say("stock.points", score=Quantity(fit.score, "1", "score")),
        reason=fit.reason,
    )


def named(of: Choice) -> Phrase:
    """The actives of a choice with their mode-of-action groups."""
    return say(
        "choice.named", actives=names(*of.actives, join="plus"), groups=named_groups(of.groups)
    )


def choice(of: Choice) -> Phrase:
    """One choice with what speaks for it and against it."""
    what = named(of)
    against = NOTHING
    if of.speaks_against:
        against = say("choice.against", reasons=joined(*of.speaks_against, join="clauses"))
    reasons_ = joined(*of.speaks_for, against, join="clauses")
    return say("choice.line", what=what, reasons=reasons_)


def with_briefly(outlook: PurposeOutlook) -> list[Phrase]:
    """`with_what` in few words: a weed and a reason that was said already stand once."""
    if not outlook.choices:
        return with_what(outlook)
    best = outlook.windows[0].limiting if outlook.windows else None
    known = {best.label} if best is not None else set()
    lines, weeds = [], dict[Value, None]()
    for one in outlook.choices:
        texts: list[Phrase] = []
        for clause in one.speaks_for:
            said = clause
            if clause.id == "choice.trials":
                again = clause.value("weed") in weeds
                weeds[clause.value("weed")] = None
                values = dict(clause.values)
                said = say("choice.again" if again else "choice.briefly", **values)
            if clause.id != "choice.fresh":
                texts.append(said)
        against = [clause for clause in one.speaks_against if clause not in known]
        if against:
            texts.append(say("choice.against", reasons=joined(*against, join="clauses")))
        what = named(one)
        lines.append(
            say("choice.line", what=what, reasons=joined(*texts, join="clauses"))
            if texts
            else say("choice.alone", what=what)
        )
    return lines


def with_what(outlook: PurposeOutlook) -> list[Phrase]:
    """The choices for the best window; without any how each active in stock would do."""
    if outlook.choices:
        return [choice(one) for one in outlook.choices]
    none = [say("choice.none_in_stock")] if outlook.none_in_stock else []
    return [*none, *map(stock, outlook.stock)]


def covers(outlook: PurposeOutlook) -> list[Phrase]:
    """What each pre-emergent controls, on the days of the best windows and on its best day."""
    if refused(outlook.turf):
        return []  # the turf takes none of them: no date to apply one is told
    days = [window.date for window in outlook.windows[:CANDIDATES]]
    return [laid_on(cover, days) for cover in outlook.covers]
