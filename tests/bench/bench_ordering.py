"""How short layouts are: against published instances, the bar bound and other packers.

The instances lie outside the project and are read in place where they are (`SIGNFLEET_BENCH`,
else ``../shared/bench``); the file names the source of each. Peers, in the same run: rectpack's
best of its heuristics and sortings; OR-Tools CP-SAT in the same time on one core, where the
set is small; the nesting library itself, called without us. One core, 10 s a layout
(`SIGNFLEET_LAYOUT_SECONDS`), every fourth public set (`SIGNFLEET_LAYOUT_EVERY`).
"""

from __future__ import annotations

import json
import os
import statistics
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import rectpack
import spyrrow
from ortools.sat.python import cp_model
from rectpack import guillotine, maxrects, skyline

from inventory.engineering.ordering.layout.boxes import lay_boxes
from inventory.engineering.ordering.layout.clearance import least_separation, turned
from inventory.engineering.ordering.layout.contours import (
    Contour,
    ContourLayout,
    ContourPlace,
    outline_of,
)
from inventory.engineering.ordering.layout.loading import SHARE_OF_BOXES
from inventory.engineering.ordering.layout.rolls import plan_rolls
from inventory.engineering.ordering.layout.stretches import lay_contours
from inventory.engineering.ordering.layout.strip import Box
from inventory.engineering.standards.vocabulary import Shape
from tests.bench.rows import Row
from tests.engineering.ordering.roll_plans import check_plan, random_order

if TYPE_CHECKING:
    from collections.abc import Iterable

FOLDER = Path(
    os.environ.get("SIGNFLEET_BENCH", Path(__file__).resolve().parents[3] / "shared" / "bench")
)
SECONDS = float(os.environ.get("SIGNFLEET_LAYOUT_SECONDS", "10"))
EVERY = int(os.environ.get("SIGNFLEET_LAYOUT_EVERY", "4"))  # each how many-th public instance
MOST_BOXES_OF_A_PEER = 250  # rectpack takes minutes beyond
MOST_BOXES_OF_CP_SAT = 30
PLANS = int(os.environ.get("SIGNFLEET_LAYOUT_PLANS", "2000"))  # random orders for several rolls
UNIT_IN = 1e-3  # a unit of a public instance, so that our raster is exact
SORTS = (
    rectpack.SORT_AREA,
    rectpack.SORT_LSIDE,
    rectpack.SORT_SSIDE,
    rectpack.SORT_PERI,
    rectpack.SORT_RATIO,
    rectpack.SORT_DIFF,
)
CUTS = [
    getattr(guillotine, f"Guillotine{choice}{split}")
    for choice in ("Bssf", "Blsf", "Baf")
    for split in ("Sas", "Las", "Slas", "Llas", "Maxas", "Minas")
]
FREE = [
    maxrects.MaxRectsBl,
    maxrects.MaxRectsBssf,
    maxrects.MaxRectsBaf,
    maxrects.MaxRectsBlsf,
    skyline.SkylineBl,
    skyline.SkylineBlWm,
    skyline.SkylineMwf,
    skyline.SkylineMwfl,
    *CUTS,
]


def run() -> list[Row]:
    """Return the figures, or that the instances are not here."""
    public = FOLDER / "strip_packing_public.json"
    trade = FOLDER / "roll_nesting_trade_public.json"
    if not (public.is_file() and trade.is_file()):
        return [
            Row(name="layouts: instances not present", value=None, unit="-", note=str(FOLDER))
        ]
    rows: list[Row] = [_plans_row()]
    for is_straight, turns, most_median, most_worst in (
        (False, False, 1.015, 1.05),
        (True, False, 1.025, None),
        (True, True, 1.015, None),
    ):
        rows.extend(_public_rows(public, is_straight, turns, most_median, most_worst))
    for instance in json.loads(trade.read_text())["instances"]:
        rows.append(_bar_row(instance))
    for instance in json.loads(trade.read_text())["instances"]:
        rows.extend(_contour_rows(instance))
    return rows


def _plans_row() -> Row:
    """Return how many random orders on several rolls break a rule, asked of shapely."""
    broken, laid = [], 0
    for seed in range(PLANS):
        faces, rolls, press, laying, turns = random_order(seed)
        try:
            plan = plan_rolls(
                faces,
                rolls,
                press=press,
                laying=laying,
                turns=turns,
                seconds=0.2,
                in_order=bool(seed % 2),
            )
            check_plan(plan, faces, rolls, press, laying, turns)
        except AssertionError:
            broken.append(seed)
        else:
            laid += sum(len(load.laid) for load in plan.loads)
    return Row(
        name=f"{PLANS:,} random orders on several rolls: plans that break a rule",
        value=len(broken),
        unit="plans",
        target="0",
        holds=not broken,
        note=f"{laid:,} pieces laid; broken: {broken[:10] or 'none'}",
    )


def _public_rows(
    path: Path, is_straight: bool, turns: bool, most_median: float, most_worst: float | None
) -> Iterable[Row]:
    ours, theirs, exact, known, took = [], [], [], [], 0.0
    chosen = json.loads(path.read_text())["instances"][::EVERY]
    for instance in chosen:
        items, room = instance["items"], instance["strip_width"]
        best = instance["opt"]
        if is_straight:
            best = instance["guillotine_opt"] or best
        boxes = [
            Box(key=at, width_in=w * UNIT_IN, length_in=h * UNIT_IN, can_turn=turns)
            for at, (w, h) in enumerate(items)
        ]
        started = time.perf_counter()
        layout = lay_boxes(
            boxes,
            usable_width_in=room * UNIT_IN,
            gap_in=0,
            is_straight=is_straight,
            seconds=SECONDS,
        )
        took = max(took, time.perf_counter() - started)
        # Where the optimum is not known, or is that of faces that do not turn, our own bound.
        under = best if best and not turns else round(layout.bound_in / UNIT_IN)
        length = round(layout.length_in / UNIT_IN)
        ours.append(length / under)
        if best:
            known.append(length / under)
        if len(items) <= MOST_BOXES_OF_A_PEER:
            packed = _rectpack_length(items, room, CUTS if is_straight else FREE, turns)
            theirs.append((length / under, packed / under))
        if not is_straight and len(items) <= MOST_BOXES_OF_CP_SAT:
            solved = _cp_sat_length(items, room, SECONDS)
            if solved:
                exact.append((length / under, solved / under))
    cut = "straight cuts" if is_straight else "free cutting"
    name = f"{len(chosen)} public sets, {cut}, {'turned by 90° too' if turns else 'as given'}"
    note = (
        f"optimum or our bound below; longest took {took:.1f} s; those with a known optimum "
        f"({len(known)}): median {statistics.median(known):.4f}"
    )
    pairs = list(zip(*theirs, strict=True))
    yield _ratio_row(
        f"{name}: middle length ÷ least",
        statistics.median(ours),
        "rectpack, best of its ways",
        statistics.median(pairs[1]),
        f"≤ {most_median}",
        statistics.median(ours) <= most_median,
        note,
    )
    if most_worst:
        yield _ratio_row(
            f"{name}: worst length ÷ known least",
            max(known),
            "rectpack, best of its ways",
            max(pairs[1]),
            f"≤ {most_worst}",
            max(known) <= most_worst,
            f"worst of all against our bound: {max(ours):.4f}",
        )
    if exact:
        pair = list(zip(*exact, strict=True))
        yield _ratio_row(
            f"{name}, up to {MOST_BOXES_OF_CP_SAT} boxes: mean length ÷ least",
            statistics.mean(pair[0]),
            f"CP-SAT, {SECONDS:g} s, one core",
            statistics.mean(pair[1]),
            "no longer than the peer's",
            statistics.mean(pair[0]) <= statistics.mean(pair[1]) + 1e-9,
            f"{len(exact)} sets",
        )


def _ratio_row(
    name: str, value: float, peer: str, peer_value: float, target: str, holds: bool, note: str
) -> Row:
    return Row(
        name=name,
        value=value,
        unit="of the least",
        peer=peer,
        peer_value=peer_value,
        ratio=value / peer_value,
        target=target,
        holds=holds,
        note=note,
    )


def _rectpack_length(items: list[list[int]], room: int, ways: list[Any], turns: bool) -> int:
    """Return the shortest of the peer's ways and sortings."""
    best = None
    high = sum(max(item) for item in items)
    for way in ways:
        for sort in SORTS:
            packer = rectpack.newPacker(
                mode=rectpack.PackingMode.Offline,
                bin_algo=rectpack.PackingBin.BBF,
                pack_algo=way,
                sort_algo=sort,
                rotation=turns,
            )
            for item in items:
                packer.add_rect(*item)
            packer.add_bin(room, high)
            packer.pack()
            placed = packer.rect_list()
            if len(placed) == len(items):
                reach = max(some[2] + some[4] for some in placed)
                best = reach if best is None else min(best, reach)
    assert best is not None
    return int(best)


def _cp_sat_length(items: list[list[int]], room: int, seconds: float) -> int | None:
    model = cp_model.CpModel()
    most = sum(item[1] for item in items)
    top = model.new_int_var(max(item[1] for item in items), most, "top")
    across, along = [], []
    for at, (w, h) in enumerate(items):
        x = model.new_int_var(0, room - w, f"x{at}")
        y = model.new_int_var(0, most - h, f"y{at}")
        across.append(model.new_fixed_size_interval_var(x, w, f"a{at}"))
        along.append(model.new_fixed_size_interval_var(y, h, f"b{at}"))
        model.add(y + h <= top)
    model.add_no_overlap_2d(across, along)
    model.add_cumulative(along, [item[0] for item in items], room)
    model.minimize(top)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(model)
    return (
        int(solver.objective_value) if status in (cp_model.OPTIMAL, cp_model.FEASIBLE) else None
    )


def _box_of(face: dict[str, Any]) -> tuple[float, float]:
    """Return a trade face's box; a diamond is laid square, as its set says."""
    if face["shape"] == "diamond":
        return face["side_w"], face["side_h"]
    return tuple(np.ptp(np.array(face["polygon"]), axis=0).tolist())


def _boxes_of(instance: dict[str, Any]) -> list[Box]:
    boxes = []
    for at, face in enumerate(instance["faces"]):
        width, length = _box_of(face)
        boxes.append(Box(key=at, width_in=width, length_in=length, can_turn=True))
    return boxes


def _bar_row(instance: dict[str, Any]) -> Row:
    boxes = _boxes_of(instance)
    gap, room = instance["gap"], instance["roll_width"]
    layout = lay_boxes(
        boxes, usable_width_in=room, gap_in=gap, is_straight=True, seconds=SECONDS
    )
    grown = [
        [round((box.width_in + gap) * 1000), round((box.length_in + gap) * 1000)]
        for box in boxes
    ]
    ways = CUTS if len(boxes) <= MOST_BOXES_OF_A_PEER else CUTS[:3]
    peer = _rectpack_length(grown, round((room + gap) * 1000), ways, turns=True) / 1000 - gap
    share = layout.length_in / layout.bound_in
    return _ratio_row(
        f"{instance['name']}, boxes by straight cuts, turned too: length ÷ bar bound",
        share,
        "rectpack, best of its guillotine ways",
        peer / layout.bound_in,
        "≤ 1.015",
        share <= 1.015,
        f"{layout.length_in:.2f} in, bound {layout.bound_in:.2f} in; {layout.way}",
    )


ANGLES: dict[str, dict[str, tuple[float, ...]]] = {
    "free": {
        "rect": (0.0, 90.0),
        "octagon": (0.0,),
        "diamond": (45.0,),
        "triangle": tuple(float(angle) for angle in range(0, 360, 30)),
    },
    "fixed": {"rect": (0.0,), "octagon": (0.0,), "diamond": (0.0,), "triangle": (0.0,)},
}


def _contours_of(instance: dict[str, Any], scenario: str) -> list[Contour]:
    contours = []
    angles = ANGLES[scenario]
    for at, face in enumerate(instance["faces"]):
        outline = np.array(face["polygon"], dtype=float)
        if face["shape"] == "diamond":
            # Its corners are rounded in the file: a 48 in one would not fit a 48 in roll.
            side = min(face["side_w"], 30) if scenario == "fixed" else face["side_w"]
            outline = outline_of(Shape.DIAMOND, side, side)
        x, y = outline[:, 0], outline[:, 1]
        if np.dot(x, np.roll(y, -1)) < np.dot(y, np.roll(x, -1)):
            outline = outline[::-1]
        contours.append(Contour(key=at, outline=outline, angles_deg=angles[face["shape"]]))
    return contours


def _contour_rows(instance: dict[str, Any]) -> Iterable[Row]:
    gap, room = instance["gap"], instance["roll_width"]
    # At the same limit no longer; given a minute, better by what the repairs are for.
    most = 0.99 if SECONDS >= 60 else 1.0
    for scenario in ("free", "fixed"):
        contours = _contours_of(instance, scenario)
        raw = _raw_length(contours, room, gap)
        boxed, ours = _contours_laid(contours, room, gap, can_turn=scenario == "free")
        turns = "turned" if scenario == "free" else "as hung"
        yield Row(
            name=f"{instance['name']}, contour cutting, {turns}: length",
            value=ours,
            unit="in",
            peer="the nesting library alone, same time",
            peer_value=raw,
            ratio=ours / raw if raw else None,
            target=f"≤ {most:g} of the peer's, ≤ our boxes",
            holds=ours <= min(boxed, (raw or np.inf) * most),
            note=f"boxes {boxed:.1f} in" + ("" if raw else "; alone it gave way"),
        )


def _contours_laid(
    contours: list[Contour], room: float, gap: float, *, can_turn: bool
) -> tuple[float, float]:
    """Return the length of the boxes and that of the outlines, in the time of one layout."""
    began = time.perf_counter()
    boxes, upright = [], {}
    for contour in contours:
        upright[contour.key] = laid = turned(contour.outline, contour.angles_deg[0])
        width, length = np.ptp(laid, axis=0).tolist()
        turns = can_turn and contour.angles_deg != (0.0,)
        boxes.append(Box(key=contour.key, width_in=width, length_in=length, can_turn=turns))
    boxed = lay_boxes(
        boxes,
        usable_width_in=room,
        gap_in=gap,
        is_straight=False,
        seconds=SECONDS * SHARE_OF_BOXES,
    )
    places = []
    for place in boxed.places:
        contour_turn = 90.0 * place.is_turned
        outline = turned(upright[place.key], contour_turn)
        outline = outline - outline.min(axis=0) + [place.across_in, place.along_in]
        places.append(ContourPlace(place.key, outline, contour_turn))
    nested = lay_contours(
        contours,
        ContourLayout(tuple(places), boxed.length_in, 0.0),
        usable_width_in=room,
        gap_in=gap,
        seconds=SECONDS - (time.perf_counter() - began),
    )
    assert least_separation([each.outline for each in nested.places]) >= gap - 1e-6
    return boxed.length_in, nested.length_in


def _raw_length(contours: list[Contour], room: float, gap: float) -> float | None:
    """
    Return what the library makes of the outlines with its own keeping of the gap.

    It grows outlines towards the edges too, so it gets a gap and a hair more to lie in, as it
    does from us; a box as wide as the roll, which it does not take, is added to its length.
    """
    items, shapes, alone = [], {}, 0.0
    for contour in contours:
        laid = turned(contour.outline, contour.angles_deg[0])
        size = np.ptp(laid, axis=0)
        if len(laid) == 4 and len(contour.angles_deg) == 1 and size[0] >= room - 1e-6:
            alone += float(size[1]) + gap
            continue
        shape = [(float(y), float(x)) for x, y in contour.outline[::-1]]
        angles = [(360 - angle) % 360 for angle in contour.angles_deg]
        shapes[str(contour.key)] = shape
        items.append(spyrrow.Item(str(contour.key), shape, 1, angles))
    config = spyrrow.StripPackingConfig(
        early_termination=False,
        min_items_separation=gap,
        total_computation_time=round(SECONDS),
        num_workers=1,
        seed=1,
    )
    strip = spyrrow.StripPackingInstance("roll", room + gap + 0.002, items)
    try:
        solution = strip.solve(config)
    except BaseException as fault:  # its panics are no Exception
        if isinstance(fault, KeyboardInterrupt | SystemExit):
            raise
        return None
    ends: list[float] = []
    for some in solution.placed_items:
        outline = np.array(shapes[some.id])
        angle = np.radians(some.rotation)
        along = outline @ np.array([np.cos(angle), -np.sin(angle)]) + some.translation[0]
        ends.extend((along.min(), along.max()))
    return float(max(ends) - min(ends)) + alone
