"""An annual weed over seasons: its seed bank, and one dominant gene for each mode of action group.

Each autumn a share of the bank germinates. Jobs kill the susceptible plants; what survives sets
seed up to a ceiling, mostly by its own pollen; seeds that did not germinate partly last. Resistance
to one group says nothing of another. Each job misses some plants: the susceptible ones among them
are why a partner of another group delays resistance. Everything is an array over draws of the
unknown parameters, the same for all programmes that are compared.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.core.values import Table

Z80 = 1.2815515655446004  # 90 % quantile of the normal distribution
_LOGARITHMIC = frozenset(
    {"resistant_at_start", "mutation", "seeds_per_plant", "bank_at_start", "seeds_most"}
)


@dataclass(frozen=True)
class Population:
    """Parameters of the model, an array over draws each; ``data/seed_bank.toml`` explains them.

    Seeds are per m². `start` is the share of resistant seeds at the start by group, ``[draw]``.
    """

    start: Mapping[int, FloatArray]
    selfed: FloatArray
    mutation: FloatArray
    missed: FloatArray
    cost: FloatArray
    seeds_per_plant: FloatArray
    bank_at_start: FloatArray
    seeds_most: FloatArray
    germinates: FloatArray
    stays: FloatArray


@dataclass(frozen=True)
class Strike:
    """One active of one job: its group and the share of susceptible plants it kills, ``[draw]``."""

    group: int
    control: FloatArray


@dataclass(frozen=True)
class Course:
    """What became of the weed.

    Attributes
    ----------
    control
        Share of the season's plants that the jobs killed, ``[season, draw]``.
    bank
        Seeds in the ground after each season as a share of those at the start, ``[season, draw]``.
    resistant
        Share of the seeds that resist the group with most of them, of those used, ``[season,
        draw]``.
    """

    control: FloatArray
    bank: FloatArray
    resistant: FloatArray


def population(
    table: Table, draws: int, seed: int, likely: Mapping[int, float | None]
) -> Population:
    """Draw the parameters between their ends.

    Parameters
    ----------
    table
        ``model`` of ``data/seed_bank.toml``.
    draws, seed
        How many, and from which state of the random numbers: the same gives the same.
    likely
        Group → chance that some plants resist it here already, 0..1; None: not known, which counts
        as 0.
    """
    rng = np.random.default_rng(seed)

    def drawn(name: str) -> FloatArray:
        low, high = table.value(name).ends
        place = rng.random(draws)
        if name in _LOGARITHMIC:
            return np.asarray(low * (high / low) ** place)
        return np.asarray(low + (high - low) * place)

    others = [name for name in table if name in Population.__dataclass_fields__]
    values = {name: drawn(name) for name in others}
    start = {}
    for group in sorted(likely):
        some = rng.random(draws) < (likely[group] or 0.0)
        start[group] = np.where(some, drawn("where_resistant"), drawn("resistant_at_start"))
    return Population(start=start, **values)


def drawn_control(middle: float, low: float, high: float, draws: int, seed: int) -> FloatArray:
    """Draw a control from its median and 80 % interval, on the logit scale, ``[draw]``.

    More of any of the three gives more control in every draw.
    """
    odds = np.log(np.clip([low, middle, high], 1e-4, 1 - 1e-4))
    odds -= np.log1p(-np.clip([low, middle, high], 1e-4, 1 - 1e-4))
    z = np.random.default_rng(seed).standard_normal(draws)
    spread = np.where(z < 0, odds[1] - odds[0], odds[2] - odds[1]) / Z80
    return np.asarray(1 / (1 + np.exp(-(odds[1] + spread * z))))


def simulate_bank(of: Population, seasons: Sequence[Sequence[Sequence[Strike]]]) -> Course:
    """Run a programme.

    Parameters
    ----------
    seasons
        The jobs of each season with the strikes of each, in order of time; none where nothing is
        done. The control of a strike is what a trial saw: the plants missed are part of the rest.

    Examples
    --------
    One active that kills 95 % takes a resistance of 1 in 100 million to half of the seeds in
    seven seasons where no old seed is left:

    >>> import numpy as np
    >>> one = lambda value: np.array([value])
    >>> weed = Population({3: one(1e-8)}, *(one(v) for v in (1, 0, 0, 0, 1e9, 1e4, 1e4, 1, 0)))
    >>> course = simulate_bank(weed, [[[Strike(3, one(0.95))]]] * 7)
    >>> [bool(share >= 0.5) for share in course.resistant[-2:, 0]]
    [False, True]
    """
    genes = {group: _at_start(of, share) for group, share in of.start.items()}
    used = sorted({strike.group for season in seasons for job in season for strike in job})
    bank = of.bank_at_start
    control, banks, resistant = [], [], []
    zero = np.zeros_like(bank)
    for season in seasons:
        alive, setting = np.ones_like(bank), np.ones_like(bank)
        grown = genes
        for job in season:
            grown, left = _treated(grown, job, of.missed)
            alive = alive * left
        after = {}
        for group, gene in grown.items():
            seeding, seeds = _selected(gene, np.ones_like(bank), 1 - of.cost)
            setting = setting * seeds
            after[group] = _bred(seeding, of)
        plants = of.germinates * bank * alive
        potential = of.seeds_per_plant * plants * setting
        seeds_set = potential / (1 + potential / of.seeds_most)
        kept = bank * (1 - of.germinates) * of.stays
        bank = kept + seeds_set
        old = np.divide(kept, bank, out=zero + 1, where=bank > 0)
        genes = {g: old * genes[g] + (1 - old) * after[g] for g in genes}
        control.append(1 - alive)
        banks.append(bank / of.bank_at_start)
        shares = [genes[group][1] + genes[group][2] for group in used]
        resistant.append(np.max(shares, axis=0) if shares else zero)
    return Course(np.array(control), np.array(banks), np.array(resistant))


def _at_start(of: Population, share: FloatArray) -> FloatArray:
    """Shares of genotypes SS, RS, RR, ``[genotype, draw]``: what selfs is mostly RR or SS."""
    mixed = share * (1 - of.selfed)
    return np.array([1 - share, mixed, share - mixed])


def _treated(
    genes: Mapping[int, FloatArray], job: Sequence[Strike], missed: FloatArray
) -> tuple[dict[int, FloatArray], FloatArray]:
    """Genotypes by group after a job, and the share of plants it left."""
    for strike in job:  # a trial's survivors hold those that were missed
        missed = np.minimum(missed, 1 - strike.control)
    left = {}
    for group in genes:
        hit = [1 - s.control / np.maximum(1 - missed, 1e-12) for s in job if s.group == group]
        left[group] = np.clip(np.prod(hit, axis=0), 0.0, 1.0) * np.ones_like(missed)
    mean = {g: gene[0] * left[g] + gene[1] + gene[2] for g, gene in genes.items()}
    found = {}
    for group, gene in genes.items():
        others = np.prod([mean[g] for g in genes if g != group], axis=0) * np.ones_like(missed)
        weak, strong = (missed + (1 - missed) * share * others for share in (left[group], 1.0))
        found[group], alive = _selected(gene, weak, strong)
    return found, alive if found else np.ones_like(missed)


def _selected(
    gene: FloatArray, weak: FloatArray, strong: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Genotypes after shares of the susceptible and of the resistant are left, and of all."""
    weighted = np.array([gene[0] * weak, gene[1] * strong, gene[2] * strong])
    mean = weighted.sum(axis=0)
    return weighted / mean, mean


def _bred(gene: FloatArray, of: Population) -> FloatArray:
    """Genotypes of the seeds: selfed and crossed, with new mutations."""
    half = gene[1] / 4
    own = np.array([gene[0] + half, gene[1] / 2, gene[2] + half])
    p = gene[2] + gene[1] / 2
    crossed = np.array([(1 - p) ** 2, 2 * p * (1 - p), p**2])
    seeds = of.selfed * own + (1 - of.selfed) * crossed
    new = 2 * of.mutation * seeds[0]
    return np.array([seeds[0] - new, seeds[1] + new, seeds[2]])


def seasons_until(course: Course, share: float) -> FloatArray:
    """Seasons until a share of the seeds resists; infinite where that never comes, ``[draw]``."""
    over = course.resistant >= share
    return np.where(over.any(axis=0), over.argmax(axis=0) + 1.0, np.inf)
