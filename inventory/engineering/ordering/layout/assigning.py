"""Which faces go on which roll: several starts, then faces moved from roll to roll."""

from __future__ import annotations

import time
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from inventory.engineering.ordering.layout.loading import fill_room
from inventory.engineering.ordering.layout.roll import HAIR_IN

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from inventory.engineering.ordering.layout.loading import Room
    from inventory.engineering.ordering.layout.pins import Spot
    from inventory.engineering.ordering.layout.roll import Laying, Piece

_MOST_STARTS = 12
_MOST_ROUNDS = 6
_LEAST_TRIES = 15
_WORK_WHATEVER = 10_000  # tries times faces, whatever the time

Share = dict[int, tuple[int, ...]]  # roll → faces
Score = tuple[tuple[int, ...], float, float]


@dataclass(eq=False)
class Trial:
    """
    The faces, the rolls, and how long faces lie on a roll by the usual orders.

    ``pieces`` has an entry for each roll and face that can be laid there; ``pinned`` those
    fixed on a roll, whose faces are not in ``ranks``-wise shares but always there;
    ``cost_of_in`` weighs an inch of a roll: its width, times its cost where all have one.
    """

    rooms: dict[int, Room]
    lost_in: dict[int, float]
    weight: dict[int, float]
    pieces: dict[tuple[int, int], tuple[Piece, ...]]
    pinned: dict[int, list[Spot]]
    ranks: dict[int, int]
    kinds: dict[int, int]
    laying: Laying
    in_order: bool
    should_stop: Callable[[], bool]
    _deadline: float = 0.0
    _tries: int = 0
    _lengths: dict[tuple[int, tuple[tuple[int, int, int], ...]], float] = field(
        default_factory=dict
    )

    def begin(self, deadline: float) -> None:
        """
        Give time until a ``time.monotonic``, and some tries whatever the time.

        So a busy machine still finds what is easily found; the more faces, the fewer tries.
        """
        self._deadline = deadline
        self._tries = max(_LEAST_TRIES, _WORK_WHATEVER // max(1, len(self.ranks)))

    def is_over(self) -> bool:
        """Return whether no more is to be tried."""
        is_late = self._tries <= 0 and time.monotonic() >= self._deadline
        return is_late or self.should_stop()

    def groups(self, roll: int, faces: Iterable[int]) -> list[list[Piece]]:
        """Return the pieces of faces on a roll, rank after rank where order is asked for."""
        by_rank: dict[int, list[Piece]] = defaultdict(list)
        fixed = {(spot.piece.face.key, spot.piece.part) for spot in self.pinned.get(roll, ())}
        for face in faces:
            rank = self.ranks[face] if self.in_order else 0
            by_rank[rank].extend(
                piece
                for piece in self.pieces[roll, face]
                if (piece.face.key, piece.part) not in fixed
            )
        return [by_rank[rank] for rank in sorted(by_rank)]

    def length(self, roll: int, faces: Sequence[int]) -> float | None:
        """Return how long faces lie on a roll, or none where they do not."""
        if any((roll, face) not in self.pieces for face in faces):
            return None
        counts = Counter((self.kinds[face], self.ranks[face], 0) for face in faces)
        key = (roll, tuple(sorted((*kind[:2], count) for kind, count in counts.items())))
        found = self._lengths.get(key)
        if found is None:
            self._tries -= 1
            found = fill_room(
                self.rooms[roll],
                self.groups(roll, sorted(faces)),
                self.pinned.get(roll, []),
                self.laying,
            ).length_in
            self._lengths[key] = found
        return found if found <= self.rooms[roll].most_in + HAIR_IN else None

    def score(self, share: Mapping[int, Sequence[int]], faces: Iterable[int]) -> Score:
        """Return what counts: faces not laid by rank, then length, then waste."""
        laid = {face for some in share.values() for face in some}
        missing = Counter(self.ranks[face] for face in faces if face not in laid)
        length = waste = 0.0
        for roll, some in share.items():
            if not some and roll not in self.pinned:
                continue
            along = self.length(roll, tuple(some))
            if along is None:
                return (10**9,), 0.0, 0.0
            taken = along + self.lost_in[roll]
            length += taken
            area = sum(p.area_in2 for face in some for p in self.pieces[roll, face])
            waste += (taken * self.width_in(roll) - area) * self.weight[roll]
        ranks = sorted(set(self.ranks.values()))
        return tuple(missing[rank] for rank in ranks), round(length, 5), round(waste, 3)

    def width_in(self, roll: int) -> float:
        """Return the width of a roll."""
        room = self.rooms[roll]
        return room.usable_in + 2 * room.edge_in

    def fill(self, roll: int, had: Sequence[int], faces: Sequence[int]) -> tuple[int, ...]:
        """Return which of the faces, in order of rank and size, go on a roll too."""
        fits = [face for face in faces if (roll, face) in self.pieces]
        fits.sort(key=lambda face: (self.ranks[face], -self.area(roll, face), face))
        if not fits or self.length(roll, (*had, *fits)) is not None:
            return tuple(fits)
        least, most = 0, len(fits)
        while most - least > 1:
            middle = (least + most) // 2
            if self.length(roll, (*had, *fits[:middle])) is None:
                most = middle
            else:
                least = middle
        chosen = fits[:least]
        hopeless = set()
        for face in fits[least:]:
            if self.kinds[face] in hopeless:
                continue
            if self.length(roll, (*had, *chosen, face)) is None:
                hopeless.add(self.kinds[face])
            else:
                chosen.append(face)
        return tuple(chosen)

    def area(self, roll: int, face: int) -> float:
        """Return the area of a face's pieces on a roll."""
        return sum(piece.area_in2 for piece in self.pieces[roll, face])


def assign(trial: Trial, faces: Sequence[int], base: Share, rolls: Sequence[int]) -> Share:
    """
    Return what goes on which roll: what was there before and the faces, as far as they fit.

    Parameters
    ----------
    faces : sequence of int
        To be laid.
    base : dict of roll to faces
        What is on a roll already, and stays.
    rolls : sequence of int
        Rolls that may take faces.
    """
    everything = [*faces, *(face for some in base.values() for face in some)]
    best = dict(base)
    best_score = trial.score(best, everything)
    for start in _starts(trial, faces, base, rolls):
        score = trial.score(start, everything)
        if score < best_score:
            best, best_score = start, score
        if trial.is_over():
            break
    return _moved(trial, faces, everything, best, best_score, rolls)


def _unlike(trial: Trial, base: Share, rolls: Iterable[int]) -> list[int]:
    """Return rolls that differ in width, length, cost or what is on them; the first of each."""
    seen = set()
    kept = []
    for roll in rolls:
        room = trial.rooms[roll]
        own = roll if base.get(roll) or roll in trial.pinned else None
        key = (room.usable_in, room.most_in, trial.weight[roll], own)
        if key not in seen:
            seen.add(key)
            kept.append(roll)
    return kept


def _starts(
    trial: Trial, faces: Sequence[int], base: Share, rolls: Sequence[int]
) -> Iterable[Share]:
    for first in _unlike(trial, base, rolls)[:_MOST_STARTS]:
        yield _filled(trial, faces, base, [first], rolls)
    matched: dict[int, list[int]] = defaultdict(list)
    for face in faces:
        able = [roll for roll in rolls if (roll, face) in trial.pieces]
        if able:
            matched[min(able, key=lambda roll: (_spare(trial, roll, face), roll))].append(face)
    share = dict(base)
    rest = set(faces)
    for roll, some in matched.items():
        added = trial.fill(roll, share.get(roll, ()), some)
        share[roll] = (*share.get(roll, ()), *added)
        rest -= set(added)
    yield _filled(trial, sorted(rest), share, [], rolls)


def _spare(trial: Trial, roll: int, face: int) -> float:
    """Return the share of a roll's width that is left beside equal faces."""
    width = trial.rooms[roll].usable_in
    across = max(piece.least_across_in for piece in trial.pieces[roll, face])
    gap = trial.laying.between_in
    count = max(1, int((width + gap + HAIR_IN) // (across + gap)))
    return round((width - count * across) / width, 6)


def _filled(
    trial: Trial,
    faces: Sequence[int],
    base: Share,
    first: Sequence[int],
    rolls: Sequence[int],
) -> Share:
    """Return the faces put on one roll after the other, each time the one that takes most."""
    share = dict(base)
    rest = list(faces)
    left = list(rolls)
    for roll in first:
        added = trial.fill(roll, share.get(roll, ()), rest)
        share[roll] = (*share.get(roll, ()), *added)
        rest = [face for face in rest if face not in set(added)]
        left.remove(roll)
    while rest and left:
        best: tuple[tuple[float, float, float], int, tuple[int, ...]] | None = None
        for roll in _unlike(trial, share, left):
            had = share.get(roll, ())
            added = trial.fill(roll, had, rest)
            if not added:
                continue
            length = trial.length(roll, (*had, *added)) or 0.0
            before = trial.length(roll, had) or 0.0
            area = sum(trial.area(roll, face) for face in added)
            key = (-area, length - before, trial.width_in(roll))
            if best is None or key < best[0]:
                best = (key, roll, added)
            if trial.is_over() and best is not None:
                break
        if best is None:
            break
        _, roll, added = best
        share[roll] = (*share.get(roll, ()), *added)
        rest = [face for face in rest if face not in set(added)]
        left.remove(roll)
    return share


def _moved(
    trial: Trial,
    faces: Sequence[int],
    everything: Sequence[int],
    best: Share,
    best_score: Score,
    rolls: Sequence[int],
) -> Share:
    """Return the shares after moving faces of one kind as long as that is better."""
    for _ in range(_MOST_ROUNDS):
        is_better = False
        for source in (*rolls, None):
            for target in _unlike(trial, best, rolls):
                if target == source:
                    continue
                for some in _movable(trial, faces, best, source):
                    if trial.is_over():
                        return best
                    if not some <= set(_here(faces, best, source)):
                        continue  # some of them were moved since
                    share = dict(best)
                    if source is not None:
                        share[source] = tuple(f for f in share[source] if f not in some)
                    share[target] = (*share.get(target, ()), *sorted(some))
                    score = trial.score(share, everything)
                    if score < best_score:
                        best, best_score, is_better = share, score, True
        if not is_better:
            break
    return best


def _movable(
    trial: Trial, faces: Sequence[int], share: Share, source: int | None
) -> list[frozenset[int]]:
    """Return sets to move from a roll, or from those not laid: all, all of a kind, one."""
    here = _here(faces, share, source)
    if not here:
        return []
    kinds: dict[tuple[int, int], list[int]] = defaultdict(list)
    for face in here:
        kinds[trial.ranks[face], trial.kinds[face]].append(face)
    sets = {frozenset(here)}
    for some in kinds.values():
        sets |= {frozenset(some), frozenset(some[:1])}
        if len(some) > 3:
            sets.add(frozenset(some[: len(some) // 2]))
    return sorted(sets, key=lambda some: (-len(some), sorted(some)))


def _here(faces: Sequence[int], share: Share, source: int | None) -> list[int]:
    """Return which of the faces are on a roll, or not laid."""
    if source is None:
        laid = {face for some in share.values() for face in some}
        return [face for face in faces if face not in laid]
    mine = set(faces)
    return [face for face in share.get(source, ()) if face in mine]
