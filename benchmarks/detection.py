"""One error of ten standard uncertainties in each of many random networks: found, and named?

Every network is another one: pillars, free set-ups and targets at random places, random noise of
the stated size, one observation of a set-up wrong by ten of its standard uncertainties. What
theory expects follows from each network before anything is measured (W. Baarda, 1968):

* found: the test of the wrong observation exceeds the critical value. Its mean is 10 times the
  root of the redundancy, its spread one.
* named: it also exceeds the tests of all other observations, which are correlated with it. Their
  common distribution is drawn from the projection onto the residuals.

    python benchmarks/detection.py --networks 1000
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import norm

from fitup.model import ControlPoint, Instrument
from fitup.network.adjust import Adjusted, adjust
from fitup.network.equations import State, build_network
from fitup.network.measured import observations_of
from fitup.network.observations import Setup, Sight
from fitup.network.reliability import reliability
from fitup.network.robust import adjust_and_test
from fitup.network.start import find_start

#: the error planted, in standard uncertainties
SIZE = 10.0
DRAWS = 2000


@dataclass(frozen=True)
class Outcome:
    """One network: what theory expects, and whether the planted error was found and named.

    Parameters
    ----------
    found, named : float
        Probabilities by theory.
    told : bool
        Something was stated at all.
    right : bool
        The planted observation was stated, first of all.
    """

    found: float
    named: float
    stated: bool
    right: bool


def site(rng: np.random.Generator) -> tuple[dict, list[Sight], dict[str, ControlPoint]]:
    """Three or four pillars, two to four free set-ups, four to seven targets."""
    instrument = Instrument("I", 1.5e-6, 1.5e-6, 0.001, 1.5e-6)
    spread = np.array([30.0, 15.0, 2.0])
    stands = {f"S{i}": rng.normal(0.0, spread) for i in range(rng.integers(2, 5))}
    targets = {f"T{i}": rng.normal(0.0, spread) for i in range(rng.integers(4, 8))}
    angles = np.cumsum(rng.uniform(0.8, 2.0, rng.integers(3, 5)))
    pillars = {
        f"C{i}": np.array([60.0 * np.sin(a), 60.0 * np.cos(a), rng.normal(0.0, 5.0)])
        for i, a in enumerate(angles)
    }
    u = 0.001
    control = {
        n: ControlPoint(n, "weighted", p + rng.normal(0.0, u, 3), np.eye(3) * u**2)
        for n, p in pillars.items()
    }
    setups = {name: Setup(name, instrument, None, 0.0, 2) for name in stands}
    sights = []
    for name, stand in stands.items():
        zero = float(rng.uniform(0.0, 6.0))
        for target, place in {**targets, **pillars}.items():
            step = place - stand
            flat = float(np.hypot(*step[:2]))
            hz = float(np.arctan2(step[0], step[1])) - zero
            v, sd = float(np.arctan2(flat, step[2])), float(np.linalg.norm(step))
            sights.append(Sight(name, target, 1, 1, hz, v, sd, 2, 0.0, 0.0, 0.0, len(sights)))
    return setups, sights, control


def theory(adjusted: Adjusted, wrong: int, rng: np.random.Generator) -> tuple[float, float]:
    """Return the probabilities that an error is found, and that it is named first of all."""
    tested = reliability(adjusted)
    mean = SIZE * np.sqrt(tested.redundancy[wrong])
    found = float(norm.sf(tested.critical - mean) + norm.cdf(-tested.critical - mean))
    design = np.asarray((adjusted.weights @ adjusted.slopes).todense())
    onto = np.eye(len(design)) - design @ np.linalg.pinv(design)
    checked = np.flatnonzero(~np.isnan(tested.w))
    errors = rng.standard_normal((DRAWS, len(design)))
    errors[:, wrong] += SIZE
    w = np.abs(errors @ onto[:, checked]) / np.sqrt(np.diag(onto)[checked])
    largest = w.argmax(axis=1)
    named = (checked[largest] == wrong) & (w.max(axis=1) > tested.critical)
    return found, float(named.mean())


def run(seed: int) -> Outcome:
    """Return what comes of one random network."""
    rng = np.random.default_rng(seed)
    setups, sights, control = site(rng)
    start = find_start(setups, sights, (), control)
    network = build_network(observations_of(setups, sights, (), start.positions), control)
    state = State(
        np.array([start.positions[n] for n in network.nodes]),
        np.array([start.turns[s] for s in network.setups]),
    )
    measured = np.array([bool(o.setup) for o in network.observations])
    spread = np.array([o.u for o in network.observations])
    noise = np.where(measured, spread * rng.standard_normal(len(spread)), 0.0)
    wrong = int(rng.choice(np.flatnonzero(measured)))
    expected = theory(adjust(network, state), wrong, rng)
    noise[wrong] += SIZE * spread[wrong]
    spoiled = replace(network, value=network.value + noise)
    outcome = adjust_and_test(spoiled, state, np.ones(len(spread), dtype=bool))
    stated = bool(outcome.odd) or not outcome.tested.passed
    return Outcome(*expected, stated, outcome.odd[:1] == (wrong,))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--networks", type=int, default=1000)
    parser.add_argument("--first", type=int, default=1, help="first seed")
    options = parser.parse_args()
    results = [run(options.first + k) for k in range(options.networks)]
    count = len(results)
    shares = {
        "found by theory": [r.found for r in results],
        "named by theory": [r.named for r in results],
        "told of": [float(r.stated) for r in results],
        "rightly named": [float(r.right) for r in results],
    }
    print(f"{count} networks, one error of {SIZE:g} standard uncertainties in each")
    for name, values in shares.items():
        share = float(np.mean(values))
        if "theory" in name:
            print(f"{name:16s} {100.0 * share:5.1f} %")
        else:
            spread = float(np.sqrt(share * (1.0 - share) / count))
            print(f"{name:16s} {100.0 * share:5.1f} % +- {100.0 * spread:.1f} %")


if __name__ == "__main__":
    main()
