"""How a table of ratings was understood, and what storing it would change, in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from windowcast.core.phrase import Name, Phrase, Value, joined, names, say
from windowcast.core.weed_codes import weed_name
from windowcast.records.model import Rating
from windowcast.records.trial_log import RatingChanges, differing, rating_of
from windowcast.report.catalogue import Voice
from windowcast.report.table_understood import ignored_lines, layout_lines
from windowcast.report.trial_plan import measure_phrase, value_phrase
from windowcast.sources.written_dates import Ambiguous
from windowcast.trials.trial_columns import RatedColumn
from windowcast.trials.trial_table import PlotValue, RatingsRead

_MOST_SHOWN = 10


def ratings_lines(read: RatingsRead, voice: Voice) -> list[str]:
    """A table of ratings as it was understood, a line each."""
    table = read.understood
    lines = [*layout_lines(table, voice), voice.say("understood.columns")]
    for column in table.columns:
        role = read.roles.get(column.header)
        means = say(f"trial_column.{role}") if role else _rated(read.rated[column.header], read)
        said = voice.say("understood.column", column=repr(column.header), variable=means)
        lines.append(said)
    lines += ignored_lines(table, voice)
    treatments = dict.fromkeys((v.arm.number, v.arm.name) for v in read.values)
    listed = names(*(f"{number} {name}" for number, name in sorted(treatments)), join="comma")
    lines.append(voice.say("trial_import.treatments", treatments=listed))
    sites = Counter(v.site for v in read.values)
    for site, count in sites.items():
        inside = [v for v in read.values if v.site == site]
        plots = len({(v.block, v.plot) for v in inside})
        lines.append(voice.say("trial_import.site", site=site, plots=plots, values=count))
        lines += [f"  {text}" for text in _rounds(inside, voice)]
    if read.empty:
        lines.append(voice.say("trial_import.empty", cells=read.empty))
    return lines


def _rated(column: RatedColumn, read: RatingsRead) -> Phrase:
    """What a column of ratings is of, and when."""
    if column.measure is None:
        what = say("trial_import.as_in_file")
    else:
        what = measure_phrase(column.measure.id, column.weed)
    if column.weed and column.measure is None:
        what = say("trial_plan.measure_of", measure=what, weed=weed_name(column.weed))
    if column.area:
        what = say("trial_import.per", what=what, area=Name(column.area))
    date = column.date
    if isinstance(date, Ambiguous):
        date = date.in_order(read.understood.order or "mdy")
    if column.before:
        return say("trial_import.before", what=what)
    if date is not None:
        return say("trial_import.on", what=what, day=date)
    if column.days is not None:
        return say("trial_import.days", what=what, days=column.days)
    return what


def _rounds(values: list[PlotValue], voice: Voice) -> Iterator[str]:
    """Each day's measure with the number of its values and their range."""
    rounds: dict[tuple[object, ...], list[PlotValue]] = {}
    for value in sorted(values, key=lambda v: (v.date, v.row)):
        rounds.setdefault((value.date, value.measure, value.weed, value.before), []).append(value)
    for inside in rounds.values():
        first = inside[0]
        what = value_phrase(first.measure, first.weed)
        if first.before:
            what = say("trial_import.before", what=what)
        numbers = [value.value for value in inside]
        yield voice.say(
            "trial_import.round", day=first.date, what=what, values=len(numbers),
            low=min(numbers), high=max(numbers),
        )  # fmt: skip


def change_lines(changes: RatingChanges, voice: Voice) -> list[str]:
    """What is new, what is there already, and each value that would be replaced."""
    lines = [voice.say("trial_import.new", values=len(changes.new))]
    if changes.same:
        lines.append(voice.say("trial_import.same", values=changes.same))
    if changes.revised:
        lines.append(voice.say("trial_import.revised", values=len(changes.revised)))
    for value, old in changes.revised[:_MOST_SHOWN]:
        lines.append(f"  {voice.text(_revision(value, old.entry))}")
    if len(changes.revised) > _MOST_SHOWN:
        lines.append(voice.say("trial_import.more", values=len(changes.revised) - _MOST_SHOWN))
    return lines


def _revision(value: PlotValue, old: Rating) -> Phrase:
    """What a value would become, or what else about it differs."""
    where: dict[str, Value] = {
        "plot": Name(value.plot), "site": Name(value.site), "day": value.date
    }  # fmt: skip
    new = rating_of(value, old.trial)
    fields = differing(old, new)
    if "value" in fields:
        return say("trial_import.revision", old=old.value, new=value.value, **where)
    each = []
    for field in fields:
        if field in {"treatment", "block", "notes"}:
            before, after = (str(getattr(rating, field)) for rating in (old, new))
            what = say(f"trial_column.{field}")
            each.append(
                say("trial_import.other", field=what, old=_or_none(before), new=_or_none(after))
            )
        else:
            each.append(
                say("trial_import.taken_before" if new.before else "trial_import.taken_after")
            )
    return say("trial_import.revised_else", value=old.value, said=joined(*each), **where)


def _or_none(text: str) -> Phrase:
    return say("trial_import.text", text=Name(text)) if text else say("trial_import.nothing")
