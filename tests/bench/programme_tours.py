"""How good tours through our interface are, beside raw pyvrp at the same time, core and seeds.

Public instances are read in place from ../shared/bench/vrp_public and are no part of this
repository. ``SIGNFLEET_TOUR_SECONDS`` sets the time of each run.
"""

from __future__ import annotations

import json
import os
import statistics
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

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

INSTANCES = Path(__file__).resolve().parents[3] / "shared" / "bench" / "vrp_public"
SEEDS = (1, 2, 3, 4, 5)
SECONDS = float(os.environ.get("SIGNFLEET_TOUR_SECONDS", "4"))
MOST_POINTS = 0.2  # percentage points worse than raw pyvrp
STOPS, DAYS = 2_000, 160
LONG_SECONDS = 60.0
MOST_RATIO = 1.02
CMT_SCALE = 1_000
TRAVEL: dict[str, Any] = {"detour_factor": 1.3, "speed_mi_per_h": 30.0}


@dataclass(frozen=True)
class _Instance:
    name: str
    best: float
    problem: TourProblem


def rows() -> list[Row]:
    """Return the figures of tours."""
    return [_public_row(), _county_row()]


def _public_row() -> Row:
    name = f"tours on the public instances, {SECONDS:g} s each, median of 5 seeds"
    if not INSTANCES.is_dir():
        return Row(
            name=name, value=None, unit="% over best known", note="instances not present"
        )
    ours, raw = [], []
    for each in map(_read, json.loads((INSTANCES / "index.json").read_text(encoding="utf-8"))):
        gaps: dict[str, list[float]] = {"ours": [], "raw": []}
        for seed in SEEDS:
            found = shortest_tours(each.problem, seconds=SECONDS, seed=seed)
            gaps["ours"].append(np.inf if found is None else found[1] / each.best - 1)
            gaps["raw"].append(_raw(each.problem, seed) / each.best - 1)
        ours.append(100 * statistics.median(gaps["ours"]))
        raw.append(100 * statistics.median(gaps["raw"]))
        print(f"  {each.name}: ours {ours[-1]:.3f} %, raw {raw[-1]:.3f} %", flush=True)
    value, peer = statistics.median(ours), statistics.median(raw)
    return Row(
        name=name,
        value=value,
        unit="% over best known",
        peer="raw pyvrp",
        peer_value=peer,
        ratio=(100 + value) / (100 + peer),
        target=f"≤ {MOST_POINTS} points worse",
        holds=value - peer <= MOST_POINTS,
        note=f"worst of the instances {max(np.subtract(ours, raw)):.2f} points worse",
    )


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


def _county_row() -> Row:
    """2,000 stops of an invented county in 8 h shifts, model building and all."""
    draw = np.random.default_rng(7)
    towns = draw.uniform(-0.35, 0.35, (12, 2))
    at = towns[draw.integers(0, 12, STOPS)] + draw.normal(0, 0.04, (STOPS, 2))
    stops = [
        Stop(n, 43.0 + float(y), -89.5 + float(x), float(draw.choice([15, 20, 30, 45])))
        for n, (x, y) in enumerate(at)
    ]
    crew = TourCrew(1, 43.0, -89.5, days=DAYS)
    started = time.perf_counter()
    # The search is given what is left when matrices and answer are made.
    tours = plan_tours(stops, [crew], **TRAVEL, seconds=LONG_SECONDS - 6.0)
    took_s = time.perf_counter() - started
    ours = sum(day.minutes for day in tours.days)
    peer = _raw_county(stops, crew)
    ratio = ours / peer
    return Row(
        name=f"{STOPS:,} stops in 8 h shifts, {took_s:.1f} s of wall time",
        value=ours / 60,
        unit="crew hours",
        peer=f"raw pyvrp, {LONG_SECONDS:g} s of search",
        peer_value=peer / 60,
        ratio=ratio,
        target=f"≤ {MOST_RATIO} of the peer within {LONG_SECONDS:g} s",
        holds=ratio <= MOST_RATIO and took_s <= LONG_SECONDS and not tours.unserved,
        note=f"{len(tours.days)} crew days; {len(tours.unserved)} not served",
    )


def _raw_county(stops: list[Stop], crew: TourCrew) -> float:
    """Return the crew minutes of raw pyvrp on the same matrices, every stop required."""
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
    found = pyvrp.solve(data, MaxRuntime(LONG_SECONDS), seed=1, collect_stats=False)
    return float(found.cost()) / 60
