"""What `windowcast verify advice` found, as tables for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from windowcast.report.terminal_width import fitted, table_lines
from windowcast.windows.model import PURPOSES

WHO = {
    "advice": "the advice",
    "calendar": "calendar dates",
    "soil": "soil-temperature rule",
    "warm_day": "first warm dry day of January",
    "foresight": "best dates in hindsight",
}
GROUNDS = {
    "golf": "golf: irrigated, every weekday",
    "sports": "sports field: irrigated, two days a week",
    "rain_only": "no irrigation",
    "half_hours": "no irrigation, half the hours blocked",
    "misses_first": "golf, away in the week of each first advice",
    "no_log": "golf, keeps no log",
    "site": "your site",
}
CAUSES = {
    "season": "the application was not open",
    "limits": "the turf did not take it",
    "unknown": "nobody could tell",
    "forecast": "no fit hours were foretold",
    "wait": "the answer named a day, and it did not go out by then",
    "early": "it had gone out before, or hindsight does without it",
    "log": "the log said it was done",
}
SHORT = dict(zip(WHO, ("advice", "calendar", "soil", "January", "hindsight"), strict=True))
ENDS = ("against best rule (5 %)", "of the gain")
HEAD = (
    "",
    "controlled",
    "within limits",
    "5 to 95 %",
    "winter",
    "summer",
    "sprays",
    "lost",
    "hurt",
)
LOST = ("lost_rain", "lost_wind", "lost_cold", "lost_dry")


def advice_table(result: Mapping[str, Any], width: int) -> str:
    """The result as tables so many letters wide."""
    lines: list[str] = []
    for ground, regions in result["grounds"].items():
        for region, found in regions.items():
            if region != "all" and ground != "golf":
                continue
            title = GROUNDS[ground] if region == "all" else region.replace("_", " ")
            lines += ["", f"{title} ({found['seasons']} seasons of {found['stations']} stations)"]
            rows = [_row(who, found[who]) for who in WHO if who in found]
            lines += table_lines(HEAD, rows, range(1, len(HEAD)), width)
            lines += _against(found["against"])
            lines += _money(found, result.get("money", ""))
            head = ("each by itself", *(SHORT[who] for who in WHO if who in found), *ENDS)
            lines += table_lines(head, [*_each_alone(found)], range(1, len(head)), width)
    lines += [
        "",
        "What was lost against the best dates, by what the answer last said up to that day",
    ]
    lines += _causes(result["causes"])
    worst = [_story(one) for one in result["worst"] if one["lost"] > 0]
    lines += ["", "Worst seasons", *worst] if worst else []
    as_issued = result["as_issued"]
    if as_issued:
        count = sum(map(len, as_issued.values()))
        lines.append(f"forecasts as issued: {count} seasons of {', '.join(as_issued)}")
    lines += [f"left out: {name}: {why}" for name, why in result["left_out"].items()]
    notes = [f"- {note}" for note in result["notes"]]
    return "\n".join(fitted([*lines[1:], "", *notes], width))


def _row(who: str, found: Mapping[str, Sequence[float | None]]) -> list[str]:
    mean, low, high = found["within"]
    lost = sum(found[name][0] or 0.0 for name in LOST)
    hurt, sprays = found["hurt"][0] or 0.0, found["sprays"][0] or 0.0
    return [
        WHO[who], _share(found["controlled"][0]), _share(mean), f"{_share(low)} to {_share(high)}",
        _share(found["winter"][0]), _share(found["summer"][0]), f"{sprays:.2f}", f"{lost:.2f}",
        f"{hurt:.2f}",
    ]  # fmt: skip


def _against(found: Mapping[str, Any]) -> Iterator[str]:
    for who in ("calendar", "soil", "warm_day", "foresight"):
        if who in found:
            mean, low, high = found[who]["within"]
            more = found[who]["sprays"][0]
            yield (
                f"within limits, advice against {WHO[who]}: {_points(mean)} points "
                f"({_points(low)} to {_points(high)}), {more:+.2f} sprays"
            )
    if "gain_share" in found:
        gain = _whole(*found["gain_share"]["within"])
        yield f"of what hindsight gains over the calendar within limits: {gain}"


def _money(found: Mapping[str, Any], money: str) -> Iterator[str]:
    if money:
        parts = (
            f"{WHO[who]} {found[who]['cost'][0]:.0f}"
            for who in WHO
            if who in found and found[who]["cost"][0] is not None
        )
        yield f"products, {money} per hectare and season: {', '.join(parts)}"


def _each_alone(found: Mapping[str, Any]) -> Iterator[list[str]]:
    """A row for each application were it the only one."""
    for name in PURPOSES:
        key = f"alone_{name}"
        shares = [_share(found[who][key][0]) for who in WHO if who in found]
        apart, worst, _ = found["against"]["best_rule"][key]["apart"]
        gain = _whole(*found["against"]["gain_share"][key])
        yield [name, *shares, f"{_points(apart)} ({_points(worst)})", gain]


def _share(value: float | None) -> str:
    return "–" if value is None else f"{value:.1%}"


def _points(value: float | None) -> str:
    return "–" if value is None else f"{100 * value:+.1f}"


def _whole(mean: float | None, low: float | None, high: float | None) -> str:
    if mean is None:
        return "–"
    if low is None or high is None:
        return f"{mean:.0%}"
    return f"{mean:.0%} ({low:.0%} to {high:.0%})"


def _causes(found: Mapping[str, Mapping[str, float]]) -> Iterator[str]:
    for cause, by in found.items():
        parts = ", ".join(f"{name} {share:.0%}" for name, share in by.items())
        yield f"{CAUSES[cause]}: {sum(by.values()):.0%} ({parts})"


def _story(one: Mapping[str, Any]) -> str:
    share = one["controlled"]
    said = f"; the last answer up to then: {one['said']}" if one["said"] else ""
    what = f"{one['purpose']} sprayed {one['sprayed'] or 'never'}, best {one['best']}{said}"
    if not one["purpose"]:
        what = "no single application made the difference"
    return (
        f"{one['station']} {one['season']}/{(one['season'] + 1) % 100:02}: advice "
        f"{share['advice']:.0%}, calendar {share.get('calendar', 0):.0%}, best "
        f"{share['foresight']:.0%}; {what}"
    )
