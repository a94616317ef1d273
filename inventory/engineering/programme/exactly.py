"""The exact solver of whole numbers, given up at once when somebody asks to stop."""

from collections.abc import Callable, Sequence
from threading import Thread
from typing import Any

from scipy.optimize import Bounds, LinearConstraint, milp

from inventory.engineering.programme.problem import FloatArray, WholeArray

ASKED_EVERY_S = 0.1


def never() -> bool:
    """Return that nobody asked to stop."""
    return False


def solve_exactly(
    cost: FloatArray,
    constraints: Sequence[LinearConstraint],
    *,
    integrality: WholeArray,
    upper: FloatArray | float,
    seconds: float,
    gap: float,
    should_stop: Callable[[], bool] = never,
) -> Any:
    """
    Return what HiGHS found of a programme in whole numbers, or nothing.

    It works in a thread of its own, which lets go of the interpreter; this one asks meanwhile
    whether to stop and then goes on without an answer. The thread ends with its time.

    Parameters
    ----------
    cost : array of float, (columns,)
        What is made least.
    constraints : sequence of LinearConstraint
        Rows.
    integrality : array, (columns,)
        1 for whole numbers.
    upper : array of float or float
        Upper bounds; the lower ones are 0.
    seconds : float
        Time it is given. [s]
    gap : float
        Relative gap that is close enough.
    should_stop : callable, optional
        Asked ten times a second, by the caller's thread.

    Returns
    -------
    OptimizeResult or None
        As of :func:`scipy.optimize.milp`; ``None`` where nothing was found, or it was stopped.

    Examples
    --------
    >>> import numpy as np
    >>> one = LinearConstraint(np.array([[1.0, 1.0]]), -np.inf, 1.0)
    >>> found = solve_exactly(np.array([-3.0, -2.0]), [one], integrality=np.ones(2, int),
    ...                       upper=1.0, seconds=5.0, gap=1e-6)
    >>> found.x.tolist()
    [1.0, 0.0]
    >>> solve_exactly(np.array([-3.0, -2.0]), [one], integrality=np.ones(2, int), upper=1.0,
    ...               seconds=5.0, gap=1e-6, should_stop=lambda: True) is None
    True
    """
    if should_stop():
        return None
    answers: list[Any] = []
    faults: list[BaseException] = []

    def work() -> None:
        try:
            answers.append(
                milp(
                    cost,
                    constraints=constraints,
                    integrality=integrality,
                    bounds=Bounds(0.0, upper),
                    options={"time_limit": seconds, "mip_rel_gap": gap},
                )
            )
        except BaseException as fault:  # noqa: BLE001 - raised again by the caller's thread
            faults.append(fault)

    thread = Thread(target=work, name="exact solver")
    thread.start()
    while thread.is_alive():
        thread.join(ASKED_EVERY_S)
        if thread.is_alive() and should_stop():
            return None
    if faults:
        raise faults[0]
    return answers[0] if answers[0].x is not None else None
