"""The date that a page carries, for the day on which it is read from what a phone kept."""

from __future__ import annotations

import datetime as dt
from typing import Any

from windowcast.report.catalogue import Voice
from windowcast.web.sites import KnownSite


def kept_note(site: KnownSite | None, voice: Voice) -> dict[str, Any]:
    """When a page was made, in words and in s since 1970; the worker shows it on a kept page."""
    zone = site.site.zone if site is not None and site.site is not None else None
    now = dt.datetime.now(zone) if zone is not None else dt.datetime.now().astimezone()
    return {
        "made_s": int(now.timestamp()),
        "kept_from": voice.say("kept.from", at=now),
        "as_of": voice.say("kept.as_of", at=now),
        "old_as_of": voice.say("kept.old_as_of", at=now),
    }
