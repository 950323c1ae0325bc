"""Network, proxy, certificates and clock of this machine, as the weather needs them."""

from __future__ import annotations

import os
import ssl
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from windowcast.cli.check_machine import Checked, State
from windowcast.core.errors import InputError
from windowcast.core.phrase import NOTHING, Name, Noted, Phrase, Quantity, joined, names, say

if TYPE_CHECKING:
    from windowcast.core.site import Site
    from windowcast.sources.reach import Reached

WITHIN_S = 4.0
_PROXIES = ("HTTPS_PROXY", "HTTP_PROXY", "ALL_PROXY", "NO_PROXY")
_BUNDLES = ("REQUESTS_CA_BUNDLE", "CURL_CA_BUNDLE")  # what the weather sources go by
_OTHERS = ("SSL_CERT_FILE", "SSL_CERT_DIR")  # what e-mail and other programs go by
_OFF_S, _FAR_OFF_S = 120.0, 3600.0  # from an hour on, forecasts are refused as of the future


def network(site: Site | None, offline: bool) -> tuple[list[Checked], list[Reached]]:
    """Whether the services of weather can be reached, and what they answered."""
    from windowcast.sources.reach import reach, services_of

    if offline:
        return [Checked("network", "note", say("doctor.network.not_asked"))], []
    found: list[Checked] = []
    forecast, contact = (site.weather.forecast, site.weather.contact) if site else ("auto", "")
    try:
        services = services_of(forecast, contact)
    except InputError as error:
        services = services_of(forecast, contact="none@example.org")
        found.append(Checked("network", "note", error))
    answers = reach(services, WITHIN_S)
    return [_network(answers), *found], answers


def _network(answers: Sequence[Reached]) -> Checked:
    there = list(dict.fromkeys(a.host for a in answers if a.problem is None))
    away = [a for a in answers if a.problem is not None]
    forecasts = [a for a in answers if a.service != "archive"]
    stopped = any(a.service == "archive" for a in away) or (
        bool(forecasts) and all(a.problem is not None for a in forecasts)
    )
    values = {
        a.host: {"reached": a.problem is None, "problem": str(a.problem or "") or None}
        for a in answers
    }
    if not away:
        return Checked("network", "ok", say("doctor.network.reached", hosts=names(*there)), NOTHING,
                       values)  # fmt: skip
    if unset := next((a.problem for a in away if isinstance(a.problem, InputError)), None):
        return Checked("network", "wrong", unset, values=values)
    problems = joined(*map(Noted, _by_problem(away)), join="clauses")
    what = (
        say("doctor.network.some", hosts=names(*there), problems=problems)
        if there
        else say("doctor.network.none", problems=problems)
    )
    fix = say("doctor.network.others_serve") if not stopped else _way_out(away)
    return Checked("network", "wrong" if stopped else "note", what, fix, values)


def _by_problem(away: Sequence[Reached]) -> list[str]:
    """What is wrong, each once, behind the hosts that it is wrong with."""
    hosts: dict[str, dict[str, None]] = {}
    for one in away:
        said = str(one.problem).removeprefix(f"{one.host}: ")
        hosts.setdefault(said, {})[one.host] = None
    return [f"{', '.join(some)}: {said}" for said, some in hosts.items()]


def _way_out(away: Sequence[Reached]) -> Phrase:
    """What helps against the most telling of the problems."""
    said = " ".join(str(a.problem) for a in away)
    if "certificate" in said:
        return say("doctor.network.name_certificate")
    if "points to" in said:
        return say("doctor.network.sign_in")
    return say("doctor.network.check")


def proxy() -> Checked:
    """Which variables name a proxy; never what they hold, which may be a password."""
    named = [name for name in _PROXIES if os.environ.get(name) or os.environ.get(name.lower())]
    what = say("doctor.proxy.named", names=names(*named)) if named else say("doctor.proxy.none")
    return Checked("proxy", "ok", what, values={"variables": named})


def certificates() -> Iterator[Checked]:
    """Whether the certificates that variables name are there and can be read."""
    wrong = False
    for name in (*_BUNDLES, *_OTHERS):
        file = os.environ.get(name, "")
        problem = _bundle_problem(Path(file)) if file else None
        if problem is None:
            continue
        wrong = True
        state: State = "wrong" if name in _BUNDLES else "note"
        what = say("doctor.certificates.bad", name=Name(name), file=Name(file), problem=problem)
        fix = say("doctor.certificates.correct", name=Name(name))
        yield Checked("certificates", state, what, fix, {"variable": name, "file": file})
    if wrong:
        return
    given = [name for name in (*_BUNDLES, *_OTHERS) if os.environ.get(name)]
    what = (
        say("doctor.certificates.named", names=names(*given))
        if given
        else say("doctor.certificates.own")
    )
    yield Checked("certificates", "ok", what, values={"variables": given})


def _bundle_problem(path: Path) -> Phrase | None:
    """What is wrong with a file or folder of certificates; None where nothing is."""
    if not path.exists():
        return say("doctor.certificates.missing")
    if path.is_dir():
        return None
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT).load_verify_locations(path)
    except ssl.SSLError:
        return say("doctor.certificates.none_in_it")
    except OSError as error:
        return say("doctor.unreadable", problem=Name(error.strerror or str(error)))
    return None


def clock(answers: Sequence[Reached], zone: str = "") -> Checked:
    """Whether this clock agrees with those of the services, and time zones are known."""
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    try:
        ZoneInfo(zone or "America/New_York")
    except (ZoneInfoNotFoundError, OSError, ValueError):
        fix = say("doctor.clock.install_zones")
        return Checked("clock", "wrong", say("doctor.clock.no_zones"), fix)
    skews = [a.skew_s for a in answers if a.skew_s is not None]
    if not skews:
        return Checked("clock", "note", say("doctor.clock.not_compared"), values={"off_s": None})
    off = -sorted(skews)[len(skews) // 2]  # one service with a wrong clock is outvoted
    values = {"off_s": round(off)}
    if abs(off) < _OFF_S:
        return Checked("clock", "ok", say("doctor.clock.right"), values=values)
    by = Quantity(abs(off) / 60, "min")
    what = say("doctor.clock.fast", by=by) if off > 0 else say("doctor.clock.slow", by=by)
    state: State = "wrong" if abs(off) >= _FAR_OFF_S else "note"
    return Checked("clock", state, what, say("doctor.clock.set"), values)
