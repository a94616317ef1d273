"""Faces on the rolls there are: which roll for which face, in which order, what is left."""

from __future__ import annotations

import math
import time
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from inventory.engineering.ordering.layout.assigning import Share, Trial, assign
from inventory.engineering.ordering.layout.kernels import warm_up
from inventory.engineering.ordering.layout.loading import Room, fill_room
from inventory.engineering.ordering.layout.pins import Spot, check_pins
from inventory.engineering.ordering.layout.plans import (
    Laid,
    Load,
    NotLaid,
    Pin,
    RollPlan,
    StockRoll,
)
from inventory.engineering.ordering.layout.roll import (
    HAIR_IN,
    MOST_LENGTH_IN,
    Face,
    Laying,
    Piece,
    Press,
    Turns,
    require_fit,
    whole_pieces,
)
from inventory.engineering.ordering.layout.splices import spliced_pieces
from inventory.errors import OutOfRangeError

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Sequence

    from inventory.engineering.ordering.layout.loading import Filling

METHOD_VERSION = "rolls-1"
MOST_ROLLS = 100
MOST_FACES = 2_000
_SHARE_TO_ASSIGN = 0.4  # of the time
_LEAST_SECONDS = 0.2


def plan_rolls(
    faces: Sequence[Face],
    rolls: Sequence[StockRoll],
    *,
    press: Press,
    laying: Laying,
    turns: Turns,
    seconds: float,
    in_order: bool = False,
    pins: Sequence[Pin] = (),
    excluded: Collection[int] = (),
    seed: int = 1,
    progress: Callable[[str], None] = lambda _: None,
    should_stop: Callable[[], bool] = lambda: False,
) -> RollPlan:
    """
    Return faces of one base sheeting on the rolls there are: least length, then least waste.

    First as many faces as can be, the most urgent before the others; then the least length of
    all rolls together, lead-in, bleed and tail counted at every load; then the least waste, in
    money where every roll has a cost, else in area. A roll is loaded once at most. All pieces
    of a face come off one roll, so off one lot. A face is spliced only where no roll given
    takes it whole. It is a search: nothing says that no better plan is there; each load says
    how short it could be at best.

    Parameters
    ----------
    faces : sequence of Face
        At most 2,000, with their ranks.
    rolls : sequence of StockRoll
        At most 100, of this sheeting and colour.
    in_order : bool
        Whether faces of a lesser rank all come off before those of a greater one; else they are
        mixed. Both are reckoned and compared.
    pins : sequence of Pin
        Faces fixed; they stay, whatever their rank. What lies before the last one is filled up
        by empty rectangles only.
    excluded : collection of int
        Faces not to lay; they are listed as such.
    seconds : float
        Time to search, 0.2 to 3,600. [s]

    Raises
    ------
    OutOfRangeError
        If there is no face or no roll, a number is out of range, a key is used twice, or a pin
        cannot be kept. A face that fits on no roll is no error: it is listed with the reason.

    Examples
    --------
    >>> from inventory.engineering.ordering.layout.plans import StockRoll
    >>> from inventory.engineering.ordering.layout.roll import Cutter
    >>> from inventory.engineering.standards.vocabulary import Shape
    >>> ten = [Face(key=n, shape=Shape.RECTANGLE, width_in=30, height_in=30) for n in range(10)]
    >>> stock = [StockRoll(key=30, width_in=30, length_in=900),
    ...          StockRoll(key=48, width_in=48, length_in=900)]
    >>> plan = plan_rolls(ten, stock, press=Press(printable_width_in=48, lead_in_in=6),
    ...     laying=Laying(cutter=Cutter.STRAIGHT, edge_margin_in=0, gap_in=0), turns=Turns(),
    ...     seconds=1)
    >>> [(load.roll.key, load.taken_in, load.left_in) for load in plan.loads]
    [(30, 306.0, 594.0)]
    """
    _check_asked(faces, rolls, pins, excluded, seconds)
    warm_up()
    kept = [face for face in faces if face.key not in set(excluded)]
    made = _Maker(kept, rolls, press, laying, turns, pins)
    ranks = {face.due_rank for face in kept}
    both = len(ranks) > 1
    share = seconds / 2 if both else seconds
    plans = {}
    for ordered in (True, False) if both else (in_order,):
        progress("faces in order of urgency" if ordered else "faces on rolls")
        plans[ordered] = made.plan(ordered, share, seed, should_stop)
    plan = plans[in_order]
    if both:
        ordered_plan, mixed = plans[True], plans[False]
        # What is in order is one way to mix too.
        if _worth(ordered_plan) < _worth(mixed):
            mixed = replace(ordered_plan, is_in_order=False)
        plan, other = (ordered_plan, mixed) if in_order else (mixed, ordered_plan)
        if len(plan.not_laid) == len(other.not_laid):
            plan = replace(plan, other_length_in=other.taken_in)
    left_out = tuple(
        NotLaid(face.key, "Left out of this layout by the person who made it.")
        for face in faces
        if face.key in set(excluded)
    )
    return replace(plan, not_laid=(*plan.not_laid, *left_out))


def _worth(plan: RollPlan) -> tuple[int, float, float]:
    return len(plan.not_laid), round(plan.taken_in, 5), plan.waste_cost or plan.waste_ft2


class _Maker:
    """What is asked, and the plan made of it."""

    def __init__(
        self,
        faces: Sequence[Face],
        rolls: Sequence[StockRoll],
        press: Press,
        laying: Laying,
        turns: Turns,
        pins: Sequence[Pin],
    ) -> None:
        self.faces = {face.key: face for face in faces}
        self.rolls = {roll.key: roll for roll in rolls}
        self.press, self.laying, self.turns = press, laying, turns
        self.lost_in = press.lead_in_in + press.tail_in + 2 * laying.bleed_in
        self.rooms = {
            roll.key: Room.of(roll.width_in, roll.length_in, press, laying) for roll in rolls
        }
        self.reasons: dict[int, str] = {}
        self.pieces: dict[tuple[int, int], tuple[Piece, ...]] = {}
        for face in faces:
            self._cut(face)
        numbers: dict[tuple[object, ...], int] = {}
        self.kinds = {
            face.key: numbers.setdefault(
                (face.shape, face.width_in, face.height_in), len(numbers)
            )
            for face in faces
        }
        self.pinned: dict[int, list[Spot]] = {}
        for pin in pins:
            self._pin(pin)
        self.fixed = {
            spot.piece.face.key: roll for roll, some in self.pinned.items() for spot in some
        }
        for roll, spots in self.pinned.items():
            room = self.rooms[roll]
            check_pins(
                spots,
                usable_width_in=room.usable_in,
                most_length_in=room.most_in,
                laying=laying,
            )
        has_cost = all(roll.cost_per_ft2 is not None for roll in rolls)
        self.weight = {
            roll.key: (roll.cost_per_ft2 or 0.0) / 144 if has_cost else 1 / 144
            for roll in rolls
        }

    def _cut(self, face: Face) -> None:
        """Keep the pieces of a face for every roll it comes off, or why there are none."""
        whole = whole_pieces(face, self.turns)
        least = max(piece.least_across_in for piece in whole)
        able = [key for key, room in self.rooms.items() if least <= room.usable_in + HAIR_IN]
        for key in able:
            turns = tuple(
                angle
                for angle, size in whole[0].sizes.items()
                if size[0] <= self.rooms[key].usable_in + HAIR_IN
            )
            self.pieces[key, face.key] = tuple(
                replace(piece, angles_deg=turns) for piece in whole
            )
        if able:
            return
        widest = max(self.rooms, key=lambda key: self.rooms[key].usable_in)
        words = ""
        for key, room in self.rooms.items():
            try:
                self.pieces[key, face.key] = spliced_pieces(
                    face,
                    usable_width_in=room.usable_in,
                    overlap_in=self.laying.overlap_in,
                    turns=self.turns,
                )
            except OutOfRangeError as refused:
                if key == widest:
                    words = str(refused)
        if any((key, face.key) in self.pieces for key in self.rooms):
            return
        try:
            require_fit(
                face,
                roll_width_in=self.rolls[widest].width_in,
                widths_in=[roll.width_in for roll in self.rolls.values()],
                press=self.press,
                laying=self.laying,
                turns=self.turns,
            )
        except OutOfRangeError as refused:
            self.reasons[face.key] = (
                f"{refused} {words}" if self.laying.overlap_in is not None else str(refused)
            )

    def _pin(self, pin: Pin) -> None:
        if pin.roll not in self.rolls:
            msg = f"Face {pin.face} is fixed on roll {pin.roll}, which is not given; let it go."
            raise OutOfRangeError(msg)
        if pin.face not in self.faces:
            msg = (
                f"Face {pin.face} is fixed on roll {pin.roll}, but it is not among the faces "
                "to lay; let it go, or do not leave it out."
            )
            raise OutOfRangeError(msg)
        pieces = self.pieces.get((pin.roll, pin.face), ())
        piece = next((some for some in pieces if some.part == pin.part), None)
        if piece is None:
            msg = (
                f"Face {pin.face}, part {pin.part}, is fixed on roll {pin.roll}, but it does "
                "not come off that roll in this way; let it go."
            )
            raise OutOfRangeError(msg)
        angle = next((a for a in piece.sizes if math.isclose(a, pin.angle_deg)), None)
        if angle is None:
            msg = (
                f"Face {pin.face} is fixed with a turn of {pin.angle_deg:g}°, which is not one "
                "it may lie in; let it go, or set the turn for the sheeting with its basis."
            )
            raise OutOfRangeError(msg)
        for roll, spots in self.pinned.items():
            for spot in spots:
                if spot.piece.face.key == pin.face and (
                    roll != pin.roll or spot.piece.part == pin.part
                ):
                    msg = (
                        f"Face {pin.face} is fixed twice, or on two rolls; all of a face comes "
                        "off one roll, so off one lot. Let one go."
                    )
                    raise OutOfRangeError(msg)
        room = self.rooms[pin.roll]
        self.pinned.setdefault(pin.roll, []).append(
            Spot(
                piece,
                angle,
                pin.across_in - room.edge_in,
                pin.along_in - room.start_in,
                is_pinned=True,
            )
        )

    def plan(
        self, in_order: bool, seconds: float, seed: int, should_stop: Callable[[], bool]
    ) -> RollPlan:
        began = time.monotonic()
        trial = Trial(
            rooms=self.rooms,
            lost_in=dict.fromkeys(self.rolls, self.lost_in),
            weight=self.weight,
            pieces=self.pieces,
            pinned=self.pinned,
            ranks={key: face.due_rank for key, face in self.faces.items()},
            kinds=self.kinds,
            laying=self.laying,
            in_order=in_order,
            should_stop=should_stop,
        )
        base: Share = {}
        for face, roll in self.fixed.items():
            base[roll] = (*base.get(roll, ()), face)
        for roll, some in base.items():
            if trial.length(roll, some) is None:
                msg = (
                    f"What is fixed on roll {roll}, with the other parts of those faces, needs "
                    f"more than the {self.rooms[roll].most_in:g} in that can be used along it; "
                    "fix the other parts too, or let one go."
                )
                raise OutOfRangeError(msg)
        free = [
            key
            for key in self.faces
            if key not in self.fixed and any((roll, key) in self.pieces for roll in self.rolls)
        ]
        until = began + seconds * _SHARE_TO_ASSIGN
        if in_order:
            share, order = self._in_order(trial, free, base, until)
        else:
            trial.begin(until)
            share = assign(trial, free, base, list(self.rolls))
            order = sorted(
                share, key=lambda roll: (min(self._ranks(share[roll]), default=0), roll)
            )
        order = [roll for roll in order if share.get(roll)]
        left = max(_LEAST_SECONDS, began + seconds - time.monotonic())
        areas = {roll: sum(trial.area(roll, face) for face in share[roll]) for roll in order}
        loads = []
        for roll in order:
            filling = fill_room(
                self.rooms[roll],
                trial.groups(roll, sorted(share[roll])),
                self.pinned.get(roll, []),
                self.laying,
                seconds=left * areas[roll] / sum(areas.values()),
                seed=seed,
                should_stop=should_stop,
            )
            loads.append(self._load(roll, filling))
        return self._told(loads, in_order)

    def _ranks(self, faces: Iterable[int]) -> list[int]:
        return [self.faces[face].due_rank for face in faces]

    def _in_order(
        self, trial: Trial, free: Sequence[int], base: Share, until: float
    ) -> tuple[Share, list[int]]:
        """
        Return the shares rank after rank, and the order the rolls are loaded in.

        A rank goes on the roll that is on the press and on rolls not loaded yet. All ranks on
        one roll is tried too.
        """
        share = dict(base)
        order: list[int] = []
        ranks = sorted(set(self._ranks(self.faces)))
        now = time.monotonic()
        for at, rank in enumerate(ranks, start=1):
            trial.begin(now + (until - now) * at / len(ranks))
            current = order[-1:]
            unopened = [roll for roll in self.rolls if roll not in order]
            mine = [face for face in free if self.faces[face].due_rank == rank]
            before = {roll: some for roll, some in share.items() if roll not in order[:-1]}
            found = assign(trial, mine, before, [*current, *unopened])
            share |= found
            opened = [
                roll
                for roll in unopened
                if set(found.get(roll, ())) & set(mine)
                or rank in self._ranks(base.get(roll, ()))
            ]
            # The one with most left stays on the press for the next rank.
            room = {
                roll: self.rooms[roll].most_in - (trial.length(roll, share[roll]) or 0.0)
                for roll in opened
            }
            order.extend(sorted(opened, key=lambda roll: (room[roll], roll)))
        best = trial.score(share, self.faces)
        for roll in self.rolls:
            if any(other != roll for other in base):
                continue
            one = {roll: (*base.get(roll, ()), *free)}
            if trial.length(roll, one[roll]) is not None:
                score = trial.score(one, self.faces)
                if score < best:
                    share, order, best = one, [roll], score
        return share, order

    def _load(self, key: int, filling: Filling) -> Load:
        roll, room = self.rolls[key], self.rooms[key]
        laid = []
        for spot in filling.spots:
            piece = spot.piece
            laid.append(
                Laid(
                    face=piece.face.key,
                    part=piece.part,
                    parts=piece.parts,
                    due_rank=piece.face.due_rank,
                    roll=key,
                    outline=piece.laid_at(
                        spot.angle_deg,
                        room.edge_in + spot.across_in,
                        room.start_in + spot.along_in,
                    ),
                    angle_deg=spot.angle_deg,
                    area_in2=piece.area_in2,
                    is_pinned=spot.is_pinned,
                )
            )
        laid.sort(key=lambda some: (some.edges[1], some.edges[0], some.face, some.part))
        taken = filling.length_in + self.lost_in
        return Load(
            roll=roll,
            laid=tuple(laid),
            usable_width_in=room.usable_in,
            length_in=filling.length_in,
            bound_in=filling.bound_in,
            taken_in=taken,
            left_in=max(0.0, roll.length_in - taken),
            is_straight=filling.is_straight,
        )

    def _told(self, loads: Sequence[Load], in_order: bool) -> RollPlan:
        laid = {some.face for load in loads for some in load.laid}
        left = {key: room.most_in for key, room in self.rooms.items()}
        for load in loads:
            left[load.roll.key] -= load.length_in + self.laying.between_in
        missing = []
        for key, face in self.faces.items():
            if key in laid:
                continue
            reason = self.reasons.get(key) or self._no_length(face, left)
            missing.append(NotLaid(key, reason))
        waste = {
            load.roll.key: (
                load.taken_in * load.roll.width_in - sum(some.area_in2 for some in load.laid)
            )
            / 144
            for load in loads
        }
        costs = [
            None
            if load.roll.cost_per_ft2 is None
            else waste[load.roll.key] * load.roll.cost_per_ft2
            for load in loads
        ]
        known = [cost for cost in costs if cost is not None]
        return RollPlan(
            loads=tuple(loads),
            not_laid=tuple(missing),
            is_in_order=in_order,
            taken_in=sum(load.taken_in for load in loads),
            waste_ft2=sum(waste.values()),
            waste_cost=sum(known) if len(known) == len(costs) else None,
            other_length_in=None,
        )

    def _no_length(self, face: Face, left: dict[int, float]) -> str:
        able = [key for key in self.rolls if (key, face.key) in self.pieces]
        longest = max(able, key=lambda key: left[key])
        pieces = self.pieces[longest, face.key]
        along = min(size[1] for size in pieces[0].sizes.values())
        rest = max(0.0, left[longest])
        return (
            f"No place was found for the {face.words}: it takes {along:.4g} in along the roll "
            f"at least, and of the {len(able)} rolls it comes off, the longest rest is "
            f"{rest:.4g} in, on roll {longest} ({self.rolls[longest].width_in:g} in wide). "
            "Add a roll."
        )


def _check_asked(
    faces: Sequence[Face],
    rolls: Sequence[StockRoll],
    pins: Sequence[Pin],
    excluded: Collection[int],
    seconds: float,
) -> None:
    if not rolls or len(rolls) > MOST_ROLLS:
        msg = f"There are {len(rolls)} rolls; 1 to {MOST_ROLLS} are planned with at a time."
        raise OutOfRangeError(msg)
    count = sum(face.key not in set(excluded) for face in faces)
    if not count or len(faces) > MOST_FACES:
        msg = f"There are {count:,} faces to lay; 1 to {MOST_FACES:,} are laid at a time."
        raise OutOfRangeError(msg)
    for words, keys in (("Face", faces), ("Roll", rolls)):
        twice = [key for key, times in Counter(some.key for some in keys).items() if times > 1]
        if twice:
            msg = f"{words} {twice[0]} is given twice; give each once."
            raise OutOfRangeError(msg)
    for roll in rolls:
        if not (math.isfinite(roll.length_in) and 0 <= roll.length_in <= MOST_LENGTH_IN):
            msg = (
                f"A length of {roll.length_in:g} in left on roll {roll.key} is out of range; "
                f"it is 0 to {MOST_LENGTH_IN:,.0f} in."
            )
            raise OutOfRangeError(msg)
        cost = roll.cost_per_ft2
        if cost is not None and not (math.isfinite(cost) and cost >= 0):
            msg = (
                f"A cost of {cost:g} a ft² of roll {roll.key} is out of range; it is 0 or more."
            )
            raise OutOfRangeError(msg)
    for pin in pins:
        if not (math.isfinite(pin.across_in) and math.isfinite(pin.along_in)):
            msg = f"Face {pin.face} is fixed at no place; give numbers in inches."
            raise OutOfRangeError(msg)
    if not (math.isfinite(seconds) and _LEAST_SECONDS <= seconds <= 3_600):
        msg = f"A search of {seconds:g} s is out of range; it is {_LEAST_SECONDS:g} to 3,600 s."
        raise OutOfRangeError(msg)
