"""How good tours through our interface are, beside raw pyvrp at the same time, core and seeds.

Public instances are read in place from ../shared/bench/vrp_public and are no part of this
repository. Ours and the peer run at the same moment, each in a process of its own, so that a
machine that is busy with other things slows both alike; the notes say how much of a core each
had. ``SIGNFLEET_TOUR_SECONDS`` sets the time of each run on the public instances,
``SIGNFLEET_COUNTY_SECONDS`` that on the county.
"""

from __future__ import annotations

import json
import os
import statistics
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pyvrp
import vrplib
from pyvrp.stop import MaxRuntime

from inventory.engineering.programme.tours import (
    Stop,
    TourCrew,
    TourProblem,
    plan_tours,
    shortest_tours,
)
from inventory.engineering.programme.travel import travel_matrices
from tests.bench.rows import Row

if TYPE_CHECKING:
    from collections.abc import Callable

INSTANCES = Path(__file__).resolve().parents[3] / "shared" / "bench" / "vrp_public"
SEEDS = (1, 2, 3, 4, 5)
SECONDS = float(os.environ.get("SIGNFLEET_TOUR_SECONDS", "4"))
MOST_POINTS = 0.2  # percentage points worse than raw pyvrp
STOPS, DAYS = 2_000, 160
LONG_SECONDS = float(os.environ.get("SIGNFLEET_COUNTY_SECONDS", "60"))
LAST_STEP_SECONDS = 1.0  # kept for making the answer, and for the start of a process
MOST_RATIO = 1.02
CMT_SCALE = 1_000
TRAVEL: dict[str, Any] = {"detour_factor": 1.3, "speed_mi_per_h": 30.0}


@dataclass(frozen=True)
class _Instance:
    name: str
    best: float
    problem: TourProblem


@dataclass(frozen=True)
class _County:
    """Crew minutes, of them driving; how long it took, and the share of a core it had."""

    minutes: float
    drive_minutes: float
    took_s: float
    core_share: float
    days: int = 0
    unserved: int = 0


def rows() -> list[Row]:
    """Return the figures of tours."""
    with ProcessPoolExecutor(max_workers=2) as pool:
        return [_public_row(pool), _county_row(pool)]


def _public_row(pool: ProcessPoolExecutor) -> Row:
    name = f"tours on the public instances, {SECONDS:g} s each, median of 5 seeds"
    if not INSTANCES.is_dir():
        return Row(
            name=name, value=None, unit="% over best known", note="instances not present"
        )
    ours, raw, shares = [], [], []
    for each in map(_read, json.loads((INSTANCES / "index.json").read_text(encoding="utf-8"))):
        gaps: dict[str, list[float]] = {"ours": [], "raw": []}
        for seed in SEEDS:
            runs = {
                "ours": pool.submit(_timed, _ours, each.problem, seed),
                "raw": pool.submit(_timed, _raw, each.problem, seed),
            }
            for who, run in runs.items():
                cost, share = run.result()
                gaps[who].append(100 * (cost / each.best - 1))
                shares.append(share)
        ours.append(statistics.median(gaps["ours"]))
        raw.append(statistics.median(gaps["raw"]))
        print(f"  {each.name}: ours {ours[-1]:.3f} %, raw {raw[-1]:.3f} %", flush=True)
    value, peer = statistics.median(ours), statistics.median(raw)
    worse = np.subtract(ours, raw)
    return Row(
        name=name,
        value=value,
        unit="% over best known",
        peer="raw pyvrp",
        peer_value=peer,
        ratio=(100 + value) / (100 + peer),
        target=f"≤ {MOST_POINTS} points worse",
        holds=value - peer <= MOST_POINTS,
        note=(
            f"by instance {worse.min():+.2f} to {worse.max():+.2f} points, median "
            f"{np.median(worse):+.2f}; share of a core {min(shares):.0%} to {max(shares):.0%}"
        ),
    )


def _timed(
    solve: Callable[[TourProblem, int], float], problem: TourProblem, seed: int
) -> tuple[float, float]:
    """Return what a solver reaches, and the share of a core it had."""
    began_s, began_cpu_s = time.perf_counter(), time.process_time()
    cost = solve(problem, seed)
    return cost, (time.process_time() - began_cpu_s) / (time.perf_counter() - began_s)


def _ours(problem: TourProblem, seed: int) -> float:
    found = shortest_tours(problem, seconds=SECONDS, seed=seed)
    return np.inf if found is None else float(found[1])


def _read(entry: dict[str, object]) -> _Instance:
    found = vrplib.read_instance(str(INSTANCES / str(entry["file"])))
    place = np.asarray(found["node_coord"], dtype=float)
    straight = np.hypot(*(place[:, None] - place[None]).transpose(2, 0, 1))
    scale = 1 if str(entry["name"]).startswith("X-") else CMT_SCALE
    way = np.rint(scale * straight).astype(np.int64)
    count = len(place) - 1
    service = np.broadcast_to(np.asarray(found.get("service_time", 0)), (count + 1,))[1:]
    longest = found.get("distance")
    return _Instance(
        str(entry["name"]),
        float(str(entry["bks"])) * scale,
        TourProblem(
            way,
            way,
            np.rint(scale * service).astype(np.int64),
            np.asarray(found["demand"][1:], dtype=np.int64),
            count,
            int(found["capacity"]),
            None if longest is None else round(scale * longest),
        ),
    )


def _raw(problem: TourProblem, seed: int) -> float:
    """Return what raw pyvrp reaches, its data made without our interface."""
    places = len(problem.cost)
    limits = {} if problem.longest is None else {"shift_duration": problem.longest}
    data = pyvrp.ProblemData(
        [pyvrp.Location(0, 0)] * places,
        [
            pyvrp.Client(n, delivery=[int(d)], service_duration=int(s))
            for n, (d, s) in enumerate(
                zip(problem.demand, problem.service, strict=True), start=1
            )
        ],
        [pyvrp.Depot(0)],
        [pyvrp.VehicleType(problem.vehicles, [int(problem.capacity or 0)], **limits)],
        [problem.cost],
        [problem.duration],
    )
    found = pyvrp.solve(data, MaxRuntime(SECONDS), seed=seed, collect_stats=False)
    return float(found.cost())


def _county_row(pool: ProcessPoolExecutor) -> Row:
    """2,000 stops of an invented county in 8 h shifts, model building and all."""
    stops, crew = _county()
    both = pool.submit(_our_county, stops, crew), pool.submit(_raw_county, stops, crew)
    ours, raw = (each.result() for each in both)
    ratio = ours.minutes / raw.minutes
    return Row(
        name=f"{STOPS:,} stops in 8 h shifts, {ours.took_s:.1f} s of wall time",
        value=ours.minutes / 60,
        unit="crew hours",
        peer=f"raw pyvrp, {LONG_SECONDS:g} s of search",
        peer_value=raw.minutes / 60,
        ratio=ratio,
        target=f"≤ {MOST_RATIO} of the peer within {LONG_SECONDS:g} s",
        holds=ratio <= MOST_RATIO and ours.took_s <= LONG_SECONDS and not ours.unserved,
        note=(
            f"driving alone {ours.drive_minutes / raw.drive_minutes:.4f} of the peer's; "
            f"{ours.days} crew days to {raw.days}; {ours.unserved} not served; share of a core "
            f"{ours.core_share:.0%} to {raw.core_share:.0%}; the peer took {raw.took_s:.1f} s"
        ),
    )


def _county() -> tuple[list[Stop], TourCrew]:
    draw = np.random.default_rng(7)
    towns = draw.uniform(-0.35, 0.35, (12, 2))
    at = towns[draw.integers(0, 12, STOPS)] + draw.normal(0, 0.04, (STOPS, 2))
    stops = [
        Stop(n, 43.0 + float(y), -89.5 + float(x), float(draw.choice([15, 20, 30, 45])))
        for n, (x, y) in enumerate(at)
    ]
    return stops, TourCrew(1, 43.0, -89.5, days=DAYS)


def _our_county(stops: list[Stop], crew: TourCrew) -> _County:
    began_s, began_cpu_s = time.perf_counter(), time.process_time()
    tours = plan_tours(stops, [crew], **TRAVEL, seconds=LONG_SECONDS - LAST_STEP_SECONDS)
    took_s = time.perf_counter() - began_s
    minutes = sum(day.minutes for day in tours.days)
    work = sum(each.service_minutes for each in stops)
    return _County(
        minutes,
        minutes - work,
        took_s,
        (time.process_time() - began_cpu_s) / took_s,
        len(tours.days),
        len(tours.unserved),
    )


def _raw_county(stops: list[Stop], crew: TourCrew) -> _County:
    """Return what raw pyvrp reaches on the same matrices, every stop required."""
    _way, between_s = travel_matrices(
        [crew.latitude_deg, *(each.latitude_deg for each in stops)],
        [crew.longitude_deg, *(each.longitude_deg for each in stops)],
        **TRAVEL,
    )
    data = pyvrp.ProblemData(
        [pyvrp.Location(0, 0)] * (len(stops) + 1),
        [
            pyvrp.Client(n, service_duration=round(60 * each.service_minutes))
            for n, each in enumerate(stops, start=1)
        ],
        [pyvrp.Depot(0)],
        [
            pyvrp.VehicleType(
                DAYS,
                shift_duration=60 * crew.shift_minutes,
                unit_distance_cost=0,
                unit_duration_cost=1,
            )
        ],
        [between_s],
        [between_s],
    )
    began_s, began_cpu_s = time.perf_counter(), time.process_time()
    found = pyvrp.solve(data, MaxRuntime(LONG_SECONDS), seed=1, collect_stats=False)
    took_s = time.perf_counter() - began_s
    minutes = float(found.cost()) / 60
    return _County(
        minutes,
        minutes - sum(each.service_minutes for each in stops),
        took_s,
        (time.process_time() - began_cpu_s) / took_s,
        found.best.num_routes(),
    )
