"""Options shared by the commands that start from a site and its weather, and what they lead to."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from windowcast.cli.progress import at_work, fetch_progress
from windowcast.core.errors import InputError, WindowcastError

if TYPE_CHECKING:
    from windowcast.core.record import Weather
    from windowcast.core.site import Site
    from windowcast.programme.answer import Answer


def areas_offered(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Areas that begin so; after a comma the next one."""
    before, comma, last = incomplete.rpartition(",")
    head = f"{before}, " if comma else ""
    names = _of_site(ctx, lambda site, _: (area.name for area in site.area))
    return [f"{head}{name}" for name in _beginning(names, last.strip())]


def sprayers_offered(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Sprayers that begin so."""
    return _beginning(_of_site(ctx, lambda site, _: (s.name for s in site.sprayer)), incomplete)


def products_offered(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Products of the materials file that begin so."""
    return _beginning(_of_site(ctx, _products), incomplete)


def _products(site: Site, file: Path) -> Iterable[str]:
    from windowcast.core.site import file_beside
    from windowcast.materials.actives import load_actives
    from windowcast.materials.products import load_products

    labels = file_beside(file, site.materials_file)
    return load_products(labels, load_actives(labels))


def _of_site(ctx: click.Context, names: Callable[[Site, Path], Iterable[str]]) -> list[str]:
    """Names from the site file on the command line; none where it cannot be read."""
    from windowcast.core.site import load_site

    # while the last option lacks its value, click has not yet told arguments from options
    file = ctx.params.get("site_file") or next((w for w in ctx.args if w.endswith(".toml")), None)
    if file is None:
        return []
    with suppress(WindowcastError):
        return list(names(load_site(file), Path(file)))
    return []


def _beginning(names: Iterable[str], incomplete: str) -> list[str]:
    return [name for name in names if name.casefold().startswith(incomplete.casefold())]


Command = Callable[..., Any]
_DEADLINE = "windowcast.deadline_s"  # where a command's context keeps it
_FORECAST = "windowcast.forecast"

deadline_option = click.option(
    "--deadline",
    type=click.FloatRange(min=0, min_open=True),
    metavar="SECONDS",
    expose_value=False,
    callback=lambda ctx, _, value: ctx.meta.__setitem__(_DEADLINE, value),
    help="Wait so long for all sources together  [default: 30]",
)

forecast_option = click.option(
    "--forecast",
    metavar="NAME[,NAME]",
    expose_value=False,
    callback=lambda ctx, _, value: ctx.meta.__setitem__(_FORECAST, value),
    help="Ask these forecast services, in order: auto, nws, mosmix, metno, none  [default: as the "
    "site says].",
)

_OPTIONS = (
    click.argument(
        "site_file", metavar="[SITE.toml]", required=False, type=click.Path(path_type=Path)
    ),
    click.option("--sample", is_flag=True, help="Use the embedded sample site and weather."),
    click.option(
        "--weather",
        "files",
        multiple=True,
        metavar="FILE",
        help="Weather file, in order of preference; may be repeated.",
    ),
    click.option(
        "--date",
        "date",
        metavar="YYYY-MM-DD",
        help="Date of the answer (today on the site's clock).",
    ),
    click.option("--offline", is_flag=True, help="Use only files and what is cached."),
    deadline_option,
    forecast_option,
)


def site_options(command: Command) -> Command:
    """Add ``[SITE.toml] --sample --weather --date --offline --deadline --forecast`` to a command.

    They arrive as ``start``, a `Start`, which finds the others in the command's context.
    """

    @wraps(command)
    def started(
        *context: click.Context,
        site_file: Path | None,
        sample: bool,
        files: tuple[str, ...],
        date: str | None,
        offline: bool,
        **asked: Any,
    ) -> Any:
        return command(*context, start=Start(site_file, sample, files, date, offline), **asked)

    for option in reversed(_OPTIONS):
        started = option(started)
    return started


units_option = click.option(
    "--units", type=click.Choice(["us", "metric"]), help="Units shown (site's own)."
)

area_option = click.option(
    "--area",
    default="",
    metavar="NAME",
    shell_complete=areas_offered,
    help="Only this area of the site file  [default: all, those that are alike together]",
)

materials_option = click.option(
    "--site",
    "site_file",
    type=click.Path(path_type=Path),
    metavar="SITE.toml",
    help="Put the numbers of its materials file over the packaged ones.",
)


def format_option(*formats: str, help: str = "What is printed.") -> Callable[..., Any]:  # noqa: A002
    """``--format``, by default the first of the formats; it arrives as ``format_``."""
    kinds = click.Choice(formats)
    return click.option(
        "--format", "format_", type=kinds, default=formats[0], show_default=True, help=help
    )


def page_option(help: str) -> Callable[..., Any]:  # noqa: A002
    """``--page OUT.html``; it arrives as ``page``."""
    path = click.Path(path_type=Path)
    return click.option("--page", type=path, metavar="OUT.html", help=help, callback=only_a_page)


def only_a_page(_: click.Context, option: click.Parameter, path: Path | None) -> Path | None:
    """The file of a page, which is written over no file but a page.

    Raises
    ------
    InputError
        There is a file that is none: a site file, or a table.
    """
    if path is not None and path.is_file() and path.suffix.lower() not in {".html", ".htm"}:
        raise InputError(
            f"{path.name} is there already, and is no page", field=option.opts[0],
            remedy="end the page's name in .html",
        )  # fmt: skip
    return path


@dataclass(frozen=True)
class Start:
    """Where a command starts from: what the shared options said."""

    site_file: Path | None
    sample: bool
    files: tuple[str, ...]
    date: str | None
    offline: bool
    deadline_s: float | None = None  # None for what the running command says

    def load(self, *, hours_days: int | None = None) -> tuple[Site, Weather]:
        """The site and its weather.

        Parameters
        ----------
        hours_days
            Days before today for which hours are kept; None for what an answer needs.

        Raises
        ------
        InputError
            No site or two, a bad date, or a file that cannot be used.
        SourceUnreachableError
            The weather cannot be reached and nothing usable is cached.
        """
        site = self.site()
        return site, self._weather(site, hours_days)

    def site(self) -> Site:
        """The site alone."""
        if self.sample and self.site_file is not None:
            raise InputError(
                "both --sample and a site file are given", remedy="leave one of them out"
            )
        if self.sample:
            from windowcast.weather.sample import sample_site

            return sample_site()
        if self.site_file is None:
            raise InputError(
                "no site is given",
                remedy="name a site file (windowcast init writes one) or try --sample",
            )
        from windowcast.core.site import load_site

        return with_given_forecast(load_site(self.site_file))

    def _weather(self, site: Site, hours_days: int | None) -> Weather:
        today = self.day()
        if self.sample and not self.files:
            from windowcast.weather.sample import SAMPLE_TODAY, sample_weather

            if today not in (None, SAMPLE_TODAY):
                raise InputError(
                    f"the sample stands on {SAMPLE_TODAY}",
                    field="--date",
                    remedy="leave --date out, or use a site file and --weather",
                )
            return sample_weather()
        from windowcast.weather.load import RECENT_HOURS_DAYS, load_weather

        with fetch_progress() as progress:
            return load_weather(
                site,
                files=self.files,
                today=today,
                offline=self.offline,
                deadline_s=self.deadline_s or given_deadline_s(),
                progress=progress,
                hours_days=hours_days or RECENT_HOURS_DAYS,
            )

    def day(self) -> dt.date | None:
        """The date that was asked for, if one was."""
        from windowcast.core.quantity import parse_date

        return None if self.date is None else parse_date(self.date, "--date")

    def answers(self, known: Weather | None = None, **asked: Any) -> tuple[Answer, ...]:
        """An answer for each piece of the site's ground, by its log and materials.

        `known` is weather that was read before, `asked` as in `windowcast.answers`.
        """
        from windowcast import api

        site, weather = self.load() if known is None else (self.site(), known)
        with at_work():
            found = api.answers(
                site,
                weather,
                log=self.log_file(site),
                materials=self.beside(site.materials_file),
                **asked,
            )
        if not self.sample and _standing(asked):
            self._remember(site, found, asked.get("actives") or "")
        return found

    def _remember(self, site: Site, answers: tuple[Answer, ...], actives: str) -> None:
        """Put the answers on record, to be held against what comes."""
        from windowcast.materials.actives import load_actives
        from windowcast.materials.needs import ActiveNeeds, needs_of
        from windowcast.sources.foretold import Foretold
        from windowcast.verify.remember import remember

        def needs(answer: Answer, names: str) -> ActiveNeeds | None:
            try:
                members = load_actives(self.beside(site.materials_file)).mixture(names)
            except InputError:
                return None
            return needs_of(members, str(answer.site.turf.species))

        remember(answers, Foretold(), asked=actives, needs_of=needs)

    def beside(self, name: str) -> Path | None:
        """A file named in the site file, taken relative to it; None when there is none."""
        from windowcast.core.site import file_beside

        return file_beside(self.site_file, name)

    def log_file(self, site: Site) -> Path | None:
        """Where the season log lies, whether or not it is there yet; the sample has none."""
        from windowcast.core.site import log_beside

        return log_beside(site, self.site_file) if self.site_file is not None else None


def _standing(asked: dict[str, Any]) -> bool:
    """Whether a question is the whole one: all jobs over all days."""
    part = any(asked.get(name) for name in ("purposes", "formulation"))
    return not part and asked.get("days", 10) == 10


def given_deadline_s() -> float | None:
    """What ``--deadline`` of the running command says; None where it says nothing."""
    context = click.get_current_context(silent=True)
    return context.meta.get(_DEADLINE) if context else None


def with_given_forecast(site: Site) -> Site:
    """The site with the forecast services that ``--forecast`` of the running command names."""
    context = click.get_current_context(silent=True)
    named = context.meta.get(_FORECAST) if context else None
    if not named:
        return site
    return site.model_copy(update={"weather": site.weather.model_copy(update={"forecast": named})})
