"""A server on made-up answers, and the few moves a browser would make."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache
from pathlib import Path

from report_fixtures import TODAY, answer
from starlette.testclient import TestClient

from windowcast.api import plan_of
from windowcast.cli.options import Start
from windowcast.core.site_template import Answers, site_toml
from windowcast.programme.answer import Answer
from windowcast.records.review import Review
from windowcast.report.plan_view import PlanView, plan_view
from windowcast.report.review_text import ReviewBook, review_view
from windowcast.web.answers import InVoices, Keeper, Ready
from windowcast.web.app import create_app
from windowcast.web.context import Web
from windowcast.web.security import Guard
from windowcast.web.sites import KnownSite, SiteBook

FREE = Guard(reads_per_s=1e6, writes_per_s=1e6)


def made_up(site: KnownSite) -> Answer:
    """The made-up answer under the site's name and units."""
    assert site.site is not None
    return answer(site.site.name, site.site.units, years=7)


@cache
def sample_plan() -> InVoices[tuple[PlanView, ...]]:
    """The plan of the packaged sample."""
    plans = [(plan_of(a), a) for a in Start(None, True, (), None, True).answers()]
    return InVoices(lambda voice: tuple(plan_view(plan, voice, a) for plan, a in plans))


def _empty_review(site: KnownSite) -> ReviewBook:
    review = Review(site.name, (), (), {}, (), (), (), ())
    return ReviewBook(lambda season, voice: review_view(review, voice))


def client(
    folder: Path,
    *,
    guard: Guard = FREE,
    make: Callable[[KnownSite], Answer] = made_up,
    rank: Callable[[KnownSite, str, str], Answer] = lambda known, *_: made_up(known),
    host: str = "localhost",
    regions: Path | None = None,
) -> TestClient:
    """A client of a server over a folder of sites."""
    parts = Web(
        book=SiteBook(folder),
        answers=Keeper(
            lambda known: Ready((make(known),), known.slug, lambda *asked: (rank(known, *asked),))
        ),
        plans=Keeper(lambda known: sample_plan()),
        reviews=Keeper(_empty_review),
        guard=guard,
        regions=regions,
        today=TODAY,
    )
    return TestClient(
        create_app(parts), base_url=f"http://{host}", raise_server_exceptions=False,
        follow_redirects=False,
    )  # fmt: skip


def make_site(folder: Path, name: str = "Quinta do Teste", units: str = "metric") -> str:
    """A site file in the folder; its slug."""
    text = site_toml(Answers(name, 38.6, -9.1, units=units))
    return SiteBook(folder).save(text, name=name)


def proof(browser: TestClient, path: str) -> str:
    """The proof in the first form of a page."""
    found = re.search(r'name="proof" value="(\w+)"', browser.get(path).text)
    assert found, f"no form on {path}"
    return found[1]


def send(browser: TestClient, path: str, form: str | None = None, **fields: str) -> object:
    """Fill in and send a form that stands on `form` (the path itself by default)."""
    data = {name.replace("__", "."): value for name, value in fields.items()}
    return browser.post(path, data={"proof": proof(browser, form or path), **data})
