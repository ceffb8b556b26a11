"""A sparse network adjustment against a dense general least-squares solver, in one run.

An invented deck of any length: a row of free set-ups, each sighting the targets and pillars near
it with direction, zenith angle and distance. The program finds its own start, adjusts, tests every
observation and gives the covariance of every point. The general solver (scipy's least_squares with
our slopes as a dense matrix) gets the program's start for nothing and gives the answer and one
dense inverse. Times are processor seconds on this machine, the least of some runs, so that
what else it does disturbs them little: read the ratios and the growth.

    OPENBLAS_NUM_THREADS=1 python benchmarks/network.py --observations 100 1000 10000
"""

from __future__ import annotations

import argparse
import resource
import time

import numpy as np
from scipy.optimize import least_squares

from fitup.model import ControlPoint, Instrument
from fitup.network.adjust import adjust, point_covariance
from fitup.network.equations import Network, State, build_network, linearise
from fitup.network.measured import observations_of
from fitup.network.observations import Setup, Sight, station
from fitup.network.reliability import reliability
from fitup.network.start import find_start

#: most observations the dense solver is given: it takes the cube of the unknowns
DENSE_MOST = 3000


def site(observations: int, seed: int = 1) -> tuple[dict, list[Sight], dict[str, ControlPoint]]:
    """Set-ups every 40 m along a deck, each seeing 21 points within 70 m."""
    rng = np.random.default_rng(seed)
    count = max(2, round(observations / 66))
    instrument = Instrument("I", 1.5e-6, 1.5e-6, 0.001, 1.5e-6)
    setups = {f"S{i}": Setup(f"S{i}", instrument, None, 0.0, 2) for i in range(count)}
    stands = {name: np.array([40.0 * i, 2.0, 1.6]) for i, name in enumerate(setups)}
    points = {
        f"T{i}-{j}": np.array([10.0 * i, side, 0.1 * (i % 3)])
        for i in range(-4, 4 * count + 1)
        for j, side in enumerate((-12.0, 12.0))
    }
    pillars = {f"C{i}": np.array([120.0 * i - 30.0, 45.0, 3.0]) for i in range(count // 3 + 2)}
    control = {
        n: ControlPoint(n, "weighted", p + rng.normal(0, 0.001, 3), np.eye(3) * 1e-6)
        for n, p in pillars.items()
    }
    everything = {**points, **pillars}
    names, places = list(everything), np.array(list(everything.values()))
    sights = []
    for name, stand in stands.items():
        zero = float(rng.uniform(0, 6))
        near = np.argsort(np.hypot(*(places - stand)[:, :2].T), kind="stable")[:21]
        known = [names.index(n) for n in pillars]
        far = sorted(known, key=lambda k: float(np.hypot(*(places[k] - stand)[:2])))[:2]
        for k in dict.fromkeys([*near.tolist(), *far]):
            step = places[k] - stand
            flat = float(np.hypot(*step[:2]))
            hz = float(np.arctan2(step[0], step[1])) - zero + rng.normal(0, instrument.u_hz)
            v = float(np.arctan2(flat, step[2])) + rng.normal(0, instrument.u_v)
            sd = float(np.linalg.norm(step)) + rng.normal(0, instrument.u_sd)
            sights.append(Sight(name, names[k], 1, 1, hz, v, sd, 2, 0.0, 0.0, 0.0, len(sights)))
    return setups, sights, control


def ours(
    setups: dict, sights: list[Sight], control: dict[str, ControlPoint]
) -> tuple[dict[str, float], Network, State, State]:
    """Seconds of every part, and the network with start and answer."""
    seconds, clock = {}, time.process_time()

    def lap(name: str) -> None:
        nonlocal clock
        seconds[name], clock = time.process_time() - clock, time.process_time()

    start = find_start(setups, sights, (), control)
    lap("start")
    network = build_network(observations_of(setups, sights, (), start.positions), control)
    state = State(
        np.array([start.positions[n] for n in network.nodes]),
        np.array([start.turns[s] for s in network.setups]),
    )
    adjusted = adjust(network, state)
    lap("adjust")
    tested = reliability(adjusted)
    for node in network.nodes:
        point_covariance(adjusted, node)
    lap("tests")
    assert tested.freedom == adjusted.redundancy
    assert all(
        np.isfinite(adjusted.state.positions[network.index(station(setups[s]))]).all()
        for s in list(setups)[:3]
    )
    return seconds, network, state, adjusted.state


def dense(network: Network, start: State) -> tuple[float, State]:
    """Seconds and answer of the general solver with one dense inverse."""
    free = network.columns >= 0

    def unpack(x: np.ndarray) -> State:
        positions = start.positions.copy()
        positions[free] = x[network.columns[free]]
        return State(positions, x[network.turns])

    def cost(x: np.ndarray) -> np.ndarray:
        return np.asarray(network.whiten @ linearise(network, unpack(x))[0])

    def slopes(x: np.ndarray) -> np.ndarray:
        return -np.asarray((network.whiten @ linearise(network, unpack(x))[1]).toarray())

    x = np.zeros(network.unknowns)
    x[network.columns[free]] = start.positions[free]
    x[network.turns] = start.turns
    clock = time.process_time()
    answer = least_squares(cost, x, jac=slopes, x_scale="jac", xtol=1e-12)
    np.linalg.inv(answer.jac.T @ answer.jac)
    return time.process_time() - clock, unpack(answer.x)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--observations", type=int, nargs="*", default=[100, 1000, 10000])
    parser.add_argument("--dense-most", type=int, default=DENSE_MOST, help="observations")
    parser.add_argument("--runs", type=int, default=3, help="the fastest of so many counts")
    options = parser.parse_args()
    ours(*site(100))  # compile before the clock runs
    print(
        "observations  unknowns  start_s  adjust_s  tests_s  fitup_s  us_each  dense_s  ratio  "
        "apart_mm  memory_MB"
    )
    for wanted in options.observations:
        tries = [ours(*site(wanted)) for _ in range(options.runs)]
        seconds, network, start, answer = min(tries, key=lambda t: sum(t[0].values()))
        total = sum(seconds.values())
        count = len(network.observations)
        line = f"{count:12d}  {network.unknowns:8d}  {seconds['start']:7.3f}"
        line += f"  {seconds['adjust']:8.3f}  {seconds['tests']:7.3f}  {total:7.3f}"
        line += f"  {total / count * 1e6:7.0f}"
        # memory before the dense solver takes its own
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        if count <= options.dense_most:
            found = [dense(network, start) for _ in range(options.runs)]
            other, theirs = min(found, key=lambda t: t[0])
            apart = float(np.abs(theirs.positions - answer.positions).max()) * 1e3
            line += f"  {other:7.2f}  {other / total:5.1f}  {apart:8.1e}"
        else:
            line += f"  {'-':>7}  {'-':>5}  {'-':>8}"
        print(f"{line}  {memory:9.0f}")


if __name__ == "__main__":
    main()
