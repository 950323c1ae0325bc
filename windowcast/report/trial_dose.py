"""What doses say of populations: a table, sentences, and the same for programs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from windowcast.core.phrase import Name, Phrase, Quantity, Value, joined, names, say
from windowcast.report.catalogue import Voice
from windowcast.report.terminal_width import table_lines, wrapped
from windowcast.trials.dose_populations import DoseFindings, PopulationCurve, PopulationRatio
from windowcast.trials.dose_response import DoseCurve, EffectiveDose
from windowcast.trials.dose_table import DoseTable

FAR = 1000.0  # times beyond what was tested: no limit worth a figure
MISFIT = 0.05
SI_DOSE = "kg ha-1"


@dataclass(frozen=True, slots=True)
class DoseSaid:
    """The curves of one response in words: a row for each population, then what to mind."""

    key: str
    title: str
    response: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    remarks: tuple[str, ...]


def dose_phrase(dose: float, table: DoseTable) -> Value:
    """A dose with its unit: the reader's where it is held in SI, else as the table writes it."""
    if table.unit == SI_DOSE:
        return Quantity(dose, "kg ha-1", "dose")
    number = Quantity(dose, "1", "figures")
    return say("trial_dose.of_unit", number=number, unit=Name(table.unit)) if table.unit else number


def _bare(dose: float, table: DoseTable) -> Quantity:
    """The same for a text that leaves its unit out."""
    in_si = table.unit == SI_DOSE
    return Quantity(dose, "kg ha-1", "dose") if in_si else Quantity(dose, "1", "figures")


def population_phrase(name: str, table: DoseTable) -> Value:
    """What a population is called; a table of one may have no name for it."""
    return Name(name) if name else say("trial_dose.all", response=Name(table.response))


def dose_said(
    key: str, what: Value, table: DoseTable, found: DoseFindings, voice: Voice
) -> DoseSaid:
    """The curves in words; `what` is what responds."""
    percents = [d.percent for p in found.populations if p.curve for d in p.effective]
    heads = [voice.say("trial_dose.population"), voice.say("trial_dose.values")]
    every = tuple(dict.fromkeys(percents))
    heads += [voice.write(say("trial_dose.ed", percent=_percent(p))) for p in every]
    heads += [voice.say("trial_dose.slope")] if every else []
    rows = tuple(_row(p, table, len(every), voice) for p in found.populations)
    remarks = tuple(voice.write(text, "sentence") for text in _remarks(table, found, voice.shell))
    title = voice.write(say("trial_dose.title", response=what), "cap")
    return DoseSaid(key, title, voice.write(what, "cap"), tuple(heads), rows, remarks)


def _row(one: PopulationCurve, table: DoseTable, percents: int, voice: Voice) -> tuple[str, ...]:
    head = (voice.write(population_phrase(one.name, table)), str(len(one.responses)))
    if one.curve is None:
        return (*head, *(["–"] * (percents + 1 if percents else 0)))
    cells = [voice.write(_ranged(dose, one.curve, table)) for dose in one.effective]
    return (*head, *cells, voice.number(one.curve.slope, 2))


def _ranged(dose: EffectiveDose, curve: DoseCurve, table: DoseTable) -> Phrase:
    """A dose with its range, as far as its ends say anything."""
    low, high = dose.low > curve.least / FAR, dose.high < curve.most * FAR
    values: dict[str, Value] = {"dose": dose_phrase(dose.dose, table)}
    if low and high:
        ends = {"low": _bare(dose.low, table), "high": _bare(dose.high, table)}
        said = say("trial_dose.ranged", **values, **ends)
    elif low:
        said = say("trial_dose.at_least", **values, low=_bare(dose.low, table))
    elif high:
        said = say("trial_dose.at_most", **values, high=_bare(dose.high, table))
    else:
        said = say("trial_dose.any", **values)
    return said if dose.tested else say("trial_dose.untested_mark", dose=said)


def _remarks(table: DoseTable, found: DoseFindings, shell: bool) -> list[Phrase]:
    said = []
    for one in found.populations:
        whose = population_phrase(one.name, table)
        if one.curve is None:
            said.append(say("trial_dose.none", population=whose, why=one.problem))
        if one.less_than_half:
            most = dose_phrase(max(one.doses), table)
            other = population_phrase(found.susceptible, table)
            said.append(say("trial_dose.not_half", population=whose, most=most, other=other))
    said += [_ratio(each, found, table) for each in found.ratios]
    if found.chosen:
        other = population_phrase(found.susceptible, table)
        said.append(say("trial_dose.chosen", population=other))
        said += [say("trial_dose.name_it")] if shell else []
    said += _beyond(table, found)
    fits = [(p.name, p.curve.misfit_p) for p in found.populations if p.curve is not None]
    for name, p in fits[:1] if found.ends else fits:
        if p < MISFIT:
            whose = population_phrase("" if found.ends else name, table)
            said.append(say("trial_dose.misfit", population=whose))
    if found.ends:
        said.append(say("trial_dose.same_ends"))
    if table.empty:
        said.append(say("trial_dose.empty", rows=table.empty))
    if table.unused:
        said.append(say("trial_dose.unused", columns=names(*table.unused)))
    if found.curves:
        said.append(say("trial_dose.what_ed_is"))
    return said


def _ratio(each: PopulationRatio, found: DoseFindings, table: DoseTable) -> Phrase:
    """How much more of a dose one needs than the susceptible population."""
    ratio = each.found
    sure = "more" if ratio.resistant else "less" if ratio.high < 1 else "same"
    return say(
        f"trial_dose.ratio.{sure}",
        population=population_phrase(each.name, table),
        other=population_phrase(found.susceptible, table),
        percent=_percent(ratio.percent),
        ratio=Quantity(ratio.ratio, "1", "figures"),
        low=Quantity(ratio.low, "1", "figures"),
        high=Quantity(ratio.high, "1", "figures"),
    )


def _beyond(table: DoseTable, found: DoseFindings) -> list[Phrase]:
    """Doses that lie beyond those tested, each population's in one clause."""
    said = []
    for one in found.populations:
        if one.curve is None:
            continue
        whose = population_phrase(one.name, table)
        for above in (True, False):
            end = one.curve.most if above else one.curve.least
            past = [d for d in one.effective if not d.tested and (d.dose > end) == above]
            if past:
                which = joined(*(say("trial_dose.ed", percent=_percent(d.percent)) for d in past))
                said.append(
                    say(
                        f"trial_dose.{'above' if above else 'below'}", doses=which,
                        population=whose, end=dose_phrase(end, table),
                    )
                )  # fmt: skip
    return said


def _percent(percent: float) -> Quantity:
    return Quantity(percent, "1")


def dose_lines(said: DoseSaid, width: int) -> list[str]:
    """The same for a terminal so many letters wide: a table where it fits, else line by line."""
    lines = [said.title, ""]
    table = table_lines(said.columns, said.rows)
    if max(map(len, table)) <= width - 2:
        lines += [f"  {line}" for line in table]
    else:
        for row in said.rows:
            lines.append(f"  {row[0]}")
            pairs = zip(said.columns[1:], row[1:], strict=True)
            lines += [f"    {head}: {cell}" for head, cell in pairs]
    remarks = (line for text in said.remarks for line in wrapped(text, width, "  ", "  "))
    return [*lines, "", *remarks]


def dose_plain(key: str, table: DoseTable, found: DoseFindings, voice: Voice) -> dict[str, Any]:
    """The same as JSON holds it, in the unit of the table."""
    from windowcast.report.plain import plain

    ends = ("slope", "low", "high", "ed50", "residual", "df", "misfit_p")
    return {
        "key": key,
        "response": table.response,
        "unit": table.unit or None,
        "populations": [
            {
                "population": one.name or None,
                "values": len(one.responses),
                "problem": voice.text(one.problem) if one.problem else None,
                "curve": plain({k: getattr(one.curve, k) for k in ends}, voice)
                if one.curve
                else None,
                "doses": [plain(dose, voice) for dose in one.effective],
            }
            for one in found.populations
        ],
        "susceptible": found.susceptible or None,
        "susceptible_named": bool(found.susceptible) and not found.chosen,
        "same_ends": found.ends,
        "ratios": [
            {"population": each.name, "resistant": each.found.resistant, **plain(each.found, voice)}
            for each in found.ratios
        ],
        "remarks": [voice.write(text, "sentence") for text in _remarks(table, found, voice.shell)],
    }
