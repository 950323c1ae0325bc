"""With what in a window: the actives at hand, those that may go into the tank, and their effect."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from windowcast.core.phrase import NOTHING, Phrase, joined, say
from windowcast.limits.model import refused, spans
from windowcast.materials.needs import ActiveNeeds
from windowcast.materials.resistance import Resistances
from windowcast.materials.rotation import Use, spent_groups
from windowcast.materials.spectrum import reach
from windowcast.windows import advice
from windowcast.windows.choices import Candidate, choices, expected, used_lately, weed_names
from windowcast.windows.covers import Against, Controlled, against_of, controlled_on
from windowcast.windows.day_windows import DayWindows
from windowcast.windows.decision import order_key
from windowcast.windows.decision_model import told_apart
from windowcast.windows.model import Choice, StockFit, Verdict, Window
from windowcast.windows.purposes import Purpose
from windowcast.windows.reasons import because
from windowcast.windows.residual import ResidualActive
from windowcast.windows.running_season import RunningSeason
from windowcast.windows.trials import Met


@dataclass(frozen=True)
class Tanks:
    """What may go into the tank; the attributes are explained in `windowcast.windows.rank.rank`."""

    windows: DayWindows
    running: RunningSeason
    barriers: tuple[ResidualActive, ...]
    candidates: tuple[Candidate, ...]
    uses: tuple[Use, ...]
    resistance: Resistances
    in_full: bool = True

    def by_effect(
        self, purpose: Purpose, mixture: ActiveNeeds | None, windows: tuple[Window, ...]
    ) -> tuple[tuple[Window, ...], tuple[Choice, ...]]:
        """Windows by what the tank is expected to do in them, and the choices for the best.

        The tank is the one asked for, or the first choice for the window. Where no source tells of
        each window, the order stays that of the hours alone.
        """
        asked = None
        if mixture is not None and mixture.names:
            asked = Candidate(mixture, next(iter(self.barriers), None))
        tanks = self.candidates if asked is None else (asked,)
        residuals = {t.residual.name: t.residual for t in tanks if t.residual is not None}
        controlled = controlled_on(
            {window.date for window in windows}, purpose, self.running, tuple(residuals.values())
        )
        choices_of, effects = {}, []
        for window in windows:
            by_residual, met = controlled[window.date], self._met(purpose, window)
            chosen = choices_of[window.start] = self._choices(purpose, window, by_residual, met)
            tank = asked or self._tank(chosen)
            effects.append(None if tank is None else expected(tank, purpose, by_residual, met))
        told = [effect for effect in effects if effect is not None]
        if windows and len(told) == len(windows):
            known = (replace(w, effect=e) for w, e in zip(windows, told_apart(told), strict=True))
            windows = tuple(sorted(known, key=order_key))
        return windows, choices_of[windows[0].start] if windows else ()

    def _tank(self, chosen: Sequence[Choice]) -> Candidate | None:
        """The first choice, as what goes into the tank."""
        first = chosen[0].actives if chosen else None
        return next((one for one in self.candidates if one.needs.names == first), None)

    def _choices(
        self, purpose: Purpose, window: Window, controlled: Controlled, met: Met
    ) -> tuple[Choice, ...]:
        """With what, in a window."""
        if not self.candidates:
            return ()
        return choices(
            self.windows.judge,
            purpose,
            self.candidates,
            self.windows.block_of(window),
            codes=self.codes(purpose),
            timed_by=[weed.weed for weed in self.windows.ctx.ahead.weeds_of(purpose.weeds)],
            day=(window.date - self.running.today).days,
            spent=self._groups_spent(purpose) if self.uses else None,
            against=self.against(purpose),
            controlled=controlled,
            met=met,
        )

    def _met(self, purpose: Purpose, window: Window) -> Met:
        """What an application in a window meets."""
        hours = self.windows.block_of(window).hours
        air_c = float(self.windows.ctx.temp_c[0, self.windows.ctx.lead :][hours].mean())
        day = (window.date - self.running.today).days
        return Met.on(
            day,
            purpose,
            self.windows.ctx.ahead,
            air_c=air_c,
            efficacy=self.windows.ctx.tables["efficacy"],
            resistance=self.resistance,
        )

    def stock_fit(self, purpose: Purpose, needs: ActiveNeeds) -> StockFit:
        """How one active at hand would do."""
        name = " + ".join(needs.names)
        if not purpose.serves(needs):
            return StockFit(name, "unfit", None, None, None, advice.acts_only(needs))
        codes = tuple(weed.weed for weed in self.windows.ctx.ahead.weeds_of(purpose.weeds))
        reached = reach(needs.actives, codes, pre=purpose.barrier)
        if not reached.controls:
            known = not reached.unknown
            weeds = weed_names(codes)
            said = say("stock.misses" if known else "stock.reach_unknown", weeds=weeds)
            return StockFit(name, "unfit" if known else "cannot tell", None, None, None, said)
        turf = spans(self.windows.judge.turf(needs)[: self.windows.days])
        if refused(turf):
            verdict: Verdict = "unfit" if turf[0].answer == "no" else "cannot tell"
            return StockFit(name, verdict, None, None, None, turf[0].reason)
        failing = self.against(purpose)(needs.names)
        if failing is not None and failing.standing == "resistant":
            return StockFit(name, "unfit", None, None, None, failing.text)
        scores = self.windows.judge.scores(purpose, needs)
        found = self.windows.ordered(needs, scores)
        if not found:
            return StockFit(name, "unfit", None, None, None, say("stock.no_hours"))
        best = self.windows.window(purpose, needs, found[0])
        limit = best.limiting
        reason = because(limit.label, limit.reason) if limit else say("stock.nothing")
        if best.verdict == "cannot tell" and needs.unknown:
            reason = say("stock.unknown", what=joined(*needs.unknown, join="clauses"))
        verdict, spent = best.verdict, self._spent(purpose, needs)
        if spent:
            verdict = "marginal" if verdict == "fit" else verdict
            reason = say("stock.reasons", of=joined(spent, reason, join="clauses"))
            reason = reason if limit else spent
        if failing is not None:
            verdict = "marginal" if verdict == "fit" else verdict
            reason = say("stock.reasons", of=joined(failing.text, reason, join="clauses"))
        return StockFit(name, verdict, best.start, best.end, best.score, reason)

    def _spent(self, purpose: Purpose, needs: ActiveNeeds) -> Phrase:
        """That all of an active's groups were used for the purpose lately; nothing when not."""
        used = self._groups_spent(purpose)
        if not needs.groups or not set(needs.groups) <= set(used):
            return NOTHING
        return say("stock.reasons", of=joined(*(used_lately(g, used[g]) for g in needs.groups)))

    def _groups_spent(self, purpose: Purpose) -> dict[int, str]:
        southern = self.windows.ctx.site.place.southern
        return spent_groups(self.uses, purpose.name, self.running.today, southern=southern)

    def against(self, purpose: Purpose) -> Against:
        """What speaks against a tank on the weeds of a purpose, here."""
        return against_of(self.resistance, purpose)

    def codes(self, purpose: Purpose) -> tuple[str, ...]:
        """EPPO codes of the watched weeds of a purpose's season."""
        return tuple(weed.weed for weed in self.windows.ctx.ahead.watched(purpose.weeds))

    def misses_all(self, purpose: Purpose, needs: ActiveNeeds) -> bool:
        """Whether actives that were chosen are known to do nothing to a purpose's weeds."""
        codes = self.codes(purpose)
        found = reach(needs.actives, codes, pre=purpose.barrier)
        return bool(needs.actives) and found.misses == codes
