"""How the faces that would be put up fall below their level: as such faces are made now."""

from __future__ import annotations

from collections import Counter, defaultdict
from datetime import timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from inventory.engineering.assessment.face import Colouring
from inventory.engineering.forecast.cohorts import Overlay
from inventory.engineering.inspection.vocabulary import How
from inventory.engineering.ordering.sheeting import optics_of_type
from inventory.engineering.ordering.specification import wanted_colors
from inventory.engineering.programme.exactly import never
from inventory.engineering.programme.years import life_chances, new_face_chances
from inventory.engineering.standards.vocabulary import Color, Optics
from inventory.errors import InventoryError, StateConflictError
from inventory.models import CohortFit, ColourArea, Sign, SignForecast
from inventory.services.forecast.expected_lives import expected_lives
from inventory.services.forecast.press_lots import NOT_PRINTED_HERE, press_lots
from inventory.services.ordering.lines import OldFace
from inventory.services.standards import code_book

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from datetime import date

    from inventory.engineering.programme.problem import FloatArray
    from inventory.models import Organisation

MADE_NOW = "as faces made as now of the sheeting that would be ordered"
OWN_COHORT = "as faces like the one that stands"
EXPECTED_LIFE = "by the agency's expected life"
NOT_KNOWN = "not known, taken to hold all years"
NOW_DAYS = 5 * 365  # faces put up within so long show how they are made now; an assumption
ROWS_AT_ONCE = 2_000
_NO_FACE = OldFace()


class NewFace(NamedTuple):
    """The chance of a new face to be below at its year ends, and what that rests on."""

    chances: FloatArray
    source: str


class _Make(NamedTuple):
    """A colour of a sheeting."""

    sheeting_type: str
    optics: str
    color: str


class NewFaces:
    """
    What would be ordered for a sign, as an order draft without a sheeting of its own has it.

    The sheeting of the face that stands, in the colours of its code. It falls like the cohort
    of the printing and overlay that the agency's newest such faces have; where none of these
    was fitted, like the cohort that governs the sign; else by the agency's expected life.
    """

    def __init__(self, organisation: Organisation, today: date, years: int) -> None:
        self.years = years
        self.codes = code_book(organisation)
        self.lives = expected_lives(organisation, today)
        self.own: dict[int, FloatArray] = {}
        self.fitted: dict[tuple[_Make, str, str], FloatArray] = {}
        self.faces: dict[int, OldFace] = {}
        self.how_made: dict[_Make, Counter[tuple[str, str]]] = {}
        self.organisation, self.today = organisation, today
        self._wanted: dict[tuple[str, OldFace], tuple[_Make, ...]] = {}
        self._made: dict[tuple[_Make, ...], dict[str, FloatArray]] = {}

    def read(self, should_stop: Callable[[], bool] = never) -> None:
        """Read how cohorts fall, and what the faces that stand are made of."""
        self._read_fits()
        self.how_made = self._read_faces(should_stop)

    def of(
        self,
        sign_id: int,
        *,
        code: str,
        color: str,
        fit_id: int | None,
        position_id: int,
    ) -> NewFace:
        """Return how the face falls that takes a sign's place; ``color`` governs it now."""
        makes = self._makes(code, self.faces.get(sign_id, _NO_FACE))
        if makes not in self._made:
            found = {make.color: self._as_made_now(make) for make in makes}
            self._made[makes] = {key: each for key, each in found.items() if each is not None}
        curves = self._made[makes]
        if curves and (not color or color in curves):
            return NewFace(_worst(curves), MADE_NOW)
        own = None if fit_id is None else self.own.get(fit_id)
        if own is not None:
            return NewFace(_worst(curves | {color: own}), OWN_COHORT)
        lives = [
            life.years
            for make in makes
            if (
                life := self.lives.of(
                    SignForecast.End.LEVEL, **make._asdict(), position_id=position_id
                )
            )
        ]
        if lives:
            chances = life_chances(min(lives), self.years)
            return NewFace(_worst(curves | {"": chances}), EXPECTED_LIFE)
        if curves:
            return NewFace(_worst(curves), MADE_NOW)
        return NewFace(np.zeros(self.years), NOT_KNOWN)

    def _makes(self, code: str, face: OldFace) -> tuple[_Make, ...]:
        """Return the colours that would be ordered, on what sheeting; none if not known."""
        key = (code, face)
        if key not in self._wanted:
            self._wanted[key] = self._find_makes(code, face)
        return self._wanted[key]

    def _find_makes(self, code: str, face: OldFace) -> tuple[_Make, ...]:
        background, legend = face.background, face.legend
        try:
            sign_type = self.codes.resolve(code).sign_type
            wanted = wanted_colors(sign_type, background, legend)
            background, legend = wanted.background, wanted.legend
        except InventoryError:
            pass  # as the face that stands
        optics = face.optics
        try:
            if face.sheeting_type and optics == Optics.UNKNOWN:
                optics = optics_of_type(face.sheeting_type).value
        except InventoryError:
            pass  # a type that the tables do not know
        colors = [each for each in (background, legend) if each and each is not Color.BLACK]
        return tuple(
            _Make(face.sheeting_type, optics, color.value) for color in dict.fromkeys(colors)
        )

    def _as_made_now(self, make: _Make) -> FloatArray | None:
        """Return the fitted cohort of the printing and overlay that is commonest now."""
        if not make.sheeting_type:
            return None
        counts = self.how_made.get(make, Counter())
        for (colouring, overlay), _count in sorted(
            counts.items(), key=lambda each: (-each[1], each[0])
        ):
            found = self.fitted.get((make, colouring, overlay))
            if found is not None:
                return found
        return None

    def _read_fits(self) -> None:
        """Read how each cohort falls; a hand-held one goes before a mobile one."""
        rows = CohortFit.objects.owned_by(self.organisation).order_by("fitted_at", "pk")
        columns = ("pk", "sheeting_type", "optics", "color", "colouring", "overlay", "how")
        of_mobile: dict[tuple[_Make, str, str], FloatArray] = {}
        for pk, *parts, how, succeeded_at, life in rows.values_list(
            *columns, "succeeded_at", "life"
        ).iterator(chunk_size=ROWS_AT_ONCE):
            if not life or not life.get("table"):
                continue
            shares = [row["share_below"] for row in life["table"]]
            self.own[pk] = new_face_chances(shares, self.years)
            sheeting_type, optics, color, colouring, overlay = parts
            key = (_Make(sheeting_type, optics, color), colouring, overlay)
            if succeeded_at is None:
                target = self.fitted if how == How.HAND_HELD else of_mobile
                target[key] = self.own[pk]
        self.fitted = of_mobile | self.fitted

    def _read_faces(
        self, should_stop: Callable[[], bool]
    ) -> dict[_Make, Counter[tuple[str, str]]]:
        """Read the faces that stand; return how those put up of late were made, by colour."""
        lots = press_lots(self.organisation).of_run
        since = self.today - timedelta(days=NOW_DAYS)
        printed: dict[_Make, Counter[tuple[str, str]]] = defaultdict(Counter)
        others: dict[_Make, Counter[tuple[str, str]]] = defaultdict(Counter)
        parts: dict[int, dict[str, tuple[str, str, str]]] = defaultdict(dict)
        rows = ColourArea.objects.filter(
            sign__owner=self.organisation, sign__state=Sign.State.INSTALLED
        ).order_by("sign_id", "number")
        found = rows.values_list(
            "sign_id",
            "part",
            "color",
            "sheeting_type",
            "optics",
            "colouring",
            "sign__installed_on",
            "sign__print_run_id",
        ).iterator(chunk_size=ROWS_AT_ONCE)
        for row in until_stopped(found, should_stop):
            sign_id, part, color, sheeting_type, optics, colouring, up_on, run = row
            parts[sign_id].setdefault(part, (color, sheeting_type, optics))
            if up_on is None or up_on < since or colouring in _NO_COLOURING:
                continue
            overlay = lots.get(run, NOT_PRINTED_HERE).overlay if run else Overlay.UNKNOWN
            made = printed if run is not None else others
            made[_Make(sheeting_type, optics, color)][colouring, overlay.value] += 1
        shared: dict[OldFace, OldFace] = {}
        for sign_id, of_sign in parts.items():
            face = _face(of_sign)
            self.faces[sign_id] = shared.setdefault(face, face)
        # Where a press of ours makes them now, what others delivered says nothing.
        return dict(others) | dict(printed)


def until_stopped(rows: Iterable[Any], should_stop: Callable[[], bool]) -> Iterator[Any]:
    """
    Give rows one by one; stopped meanwhile, there is nothing to plan by.

    All rows are read first. Asking leaves a sign of life in the database, and SQLite refuses
    that ("database is locked") while a reading is open beside which somebody else has written.
    """
    for number, row in enumerate(list(rows), start=1):
        yield row
        if number % ROWS_AT_ONCE == 0 and should_stop():
            msg = (
                "Stopped while the signs were being brought together, before any plan was "
                "found; what was found before is kept."
            )
            raise StateConflictError(msg)


_NO_COLOURING = (Colouring.UNKNOWN.value, Colouring.OPAQUE.value)


def _worst(curves: dict[str, FloatArray]) -> FloatArray:
    """Return the greatest chance over the colours, as forecasts of whole signs have it."""
    return np.asarray(np.max(list(curves.values()), axis=0))


def _face(parts: dict[str, tuple[str, str, str]]) -> OldFace:
    nothing = ("", "", ColourArea.Optics.UNKNOWN.value)
    background = parts.get(ColourArea.Part.BACKGROUND, nothing)
    legend = parts.get(ColourArea.Part.LEGEND, nothing)
    return OldFace(_color(background[0]), _color(legend[0]), background[1], background[2])


def _color(text: Any) -> Color | None:
    try:
        return Color(text)
    except ValueError:
        return None
