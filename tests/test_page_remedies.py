"""A page names no command to its readers: it leads to where the same is done."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from report_fixtures import TODAY
from web_fixtures import client, made_up, make_site

from windowcast.core.phrase import say
from windowcast.limits.model import TurfSpan
from windowcast.programme.answer import Answer
from windowcast.report.catalogue import Voice
from windowcast.web.sites import KnownSite

SAID = (
    say("limit.look_and_log"), say("limit.part_canopy"), say("criterion.dormancy.remedy"),
    say("suspicion.step.review"), say("ahead.note.usual_days"),
)  # fmt: skip


@pytest.mark.parametrize("lang", ["en", "es"])
@pytest.mark.parametrize("said", SAID, ids=lambda said: said.id)
def test_a_command_is_named_in_the_shell_only(said: object, lang: str) -> None:
    voice = Voice("us", lang)
    assert "windowcast" in voice.text(said)  # type: ignore[arg-type]
    assert "windowcast" not in voice.on_page.text(said)  # type: ignore[arg-type]


def _unlooked(known: KnownSite) -> Answer:
    one = made_up(known)
    reason, remedy = say("limit.live_shoots_maybe"), say("limit.part_canopy")
    span = TurfSpan(
        TODAY, TODAY, "cannot tell", "canopy look", "glyphosate", None, reason, remedy, "", None
    )
    outlooks = tuple(replace(o, turf=(span,), in_season=True) for o in one.ranking.purposes)
    return replace(one, ranking=replace(one.ranking, purposes=outlooks))


def test_today_leads_to_where_a_look_is_logged(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path, make=_unlooked)
    text = browser.get(f"/s/{slug}/today").text
    assert "windowcast log" not in text
    assert f'href="/s/{slug}/log/new/cover"' in text
    assert browser.get(f"/s/{slug}/log/new/cover").status_code == 200
    assert "/log/new/cover" not in browser.get("/s/sample/today").text
