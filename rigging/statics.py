"""Statics of a hung column: rigid members, determinate, as pure functions.

Plane axes: x forward, z up; an elevation is positive nose up. Body axes: u forward, v up, turned by the
tilt. Forces are for both sides together unless a name says otherwise. Sums follow from the balance of
forces and moments (any textbook of statics); where a formula is not obvious it is derived beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import linprog

Array = npt.NDArray[np.float64]

G = 9.80665  # standard gravity, 3rd CGPM 1901 [m/s²]


@dataclass(frozen=True)
class Joints:
    """Forces in N joints, top down, on the part below each; both sides together. [N]

    `link` (N,): rear link, positive in tension. `pivot_axial`, `pivot_shear` (N,): front pivot, along the
    up and the forward direction of the item above (axial positive: it pulls up on the part below).
    `pivot` (N, 2): the same force as (x, z). `link_m` (N,): length of the rear link [m].
    """

    link: Array
    pivot: Array
    pivot_axial: Array
    pivot_shear: Array
    link_m: Array


def centre_of_mass(mass_kg: npt.ArrayLike, place_m: npt.ArrayLike) -> tuple[float, Array]:
    """Mass and centre of mass of several bodies.

    Parameters
    ----------
    mass_kg : array_like, shape (N,)
        [kg]
    place_m : array_like, shape (N, D)
        Centres of mass. [m]

    Returns
    -------
    mass : float
        [kg]
    centre : ndarray, shape (D,)
        [m]

    Raises
    ------
    ValueError
        If no mass is positive.
    """
    mass, place = np.asarray(mass_kg, dtype=float), np.asarray(place_m, dtype=float)
    total = float(mass.sum())
    if total <= 0:
        raise ValueError("the masses must sum to more than zero")
    return total, mass @ place / total


def turned(point_m: npt.ArrayLike, tilt: npt.ArrayLike) -> Array:
    """Body points (..., 2) as (u, v) → plane (x, z), the body turned nose up by `tilt` [rad]."""
    point = np.asarray(point_m, dtype=float)
    cos, sin = np.cos(tilt), np.sin(tilt)
    u, v = point[..., 0], point[..., 1]
    return np.stack([u * cos - v * sin, u * sin + v * cos], axis=-1)


def pick_loads(
    weight_n: npt.ArrayLike, x_mass_m: npt.ArrayLike, x_front_m: npt.ArrayLike, x_rear_m: npt.ArrayLike
) -> tuple[Array, Array]:
    """Vertical loads on two picks that carry a rigid body.

    Moments about the rear pick, R1 = W (x_c − x_2)/(x_1 − x_2); exact for vertical chains.

    Parameters
    ----------
    weight_n : array_like, shape (...)
        Weight of everything below the picks. [N]
    x_mass_m, x_front_m, x_rear_m : array_like, broadcastable
        Horizontal positions of the centre of mass and of the picks. [m]

    Returns
    -------
    front_n, rear_n : ndarray, shape (...)
        Loads; a negative one means the body would tip, the chain cannot push. [N]

    Raises
    ------
    ValueError
        If the picks coincide.
    """
    weight, centre = np.asarray(weight_n, dtype=float), np.asarray(x_mass_m, dtype=float)
    front, rear = np.asarray(x_front_m, dtype=float), np.asarray(x_rear_m, dtype=float)
    if np.any(front == rear):
        raise ValueError("the picks coincide: two picks at one place share nothing")
    on_front = weight * (centre - rear) / (front - rear)
    return np.asarray(on_front), np.asarray(weight - on_front)


def hanging_tilt(centre_m: npt.ArrayLike, pick_m: npt.ArrayLike) -> Array:
    """Tilt at which a body hangs from one pick: its centre of mass is plumb below it.

    tan θ = (u_c − u_i)/(v_c − v_i).

    Parameters
    ----------
    centre_m, pick_m : array_like, shape (..., 2)
        Centre of mass and pick in body axes (u, v). [m]

    Returns
    -------
    ndarray, shape (...)
        [rad], nose up positive.

    Raises
    ------
    ValueError
        If the centre of mass is not below the pick: it would turn over.
    """
    apart = np.asarray(centre_m, dtype=float) - np.asarray(pick_m, dtype=float)
    if np.any(apart[..., 1] >= 0):
        raise ValueError("the centre of mass is not below the pick: the body would turn over")
    return np.asarray(np.arctan2(-apart[..., 0], -apart[..., 1]))


def reachable_tilts(
    centre_m: npt.ArrayLike, front_m: npt.ArrayLike, rear_m: npt.ArrayLike, share: float = 0.0
) -> tuple[float, float]:
    """Lowest and highest tilt at which two picks each carry at least a share of the weight.

    A pick carries the share s exactly where the body would hang from a single pick on the line
    between the two, s of the way from the other: the loads are linear in the horizontal distances.

    Parameters
    ----------
    centre_m, front_m, rear_m : array_like, shape (2,)
        Centre of mass and picks in body axes. [m]
    share : float
        Least share of the weight on each pick, 0 to ½.

    Returns
    -------
    low, high : float
        [rad]

    Raises
    ------
    ValueError
        If the share lies outside 0 to ½, or the centre of mass is not below the picks.
    """
    if not 0.0 <= share <= 0.5:
        raise ValueError(f"each pick can carry a share of 0 to 0.5 of the weight, not {share:g}")
    front, rear = np.asarray(front_m, dtype=float), np.asarray(rear_m, dtype=float)
    ends = np.stack([rear + share * (front - rear), front - share * (front - rear)])
    tilts = hanging_tilt(np.asarray(centre_m, dtype=float), ends)
    return float(tilts.min()), float(tilts.max())


def pullback(
    weight_n: float, centre_m: npt.ArrayLike, pick_m: npt.ArrayLike, low_m: npt.ArrayLike, direction: npt.ArrayLike
) -> tuple[float, Array, float]:
    """A pull-back on a body that hangs from one pick.

    Moments about the pick give the pull; the balance of forces gives the pick's force. For a vertical
    one this is R_B = W (x_P − x_c)/(x_P − x_B).

    Parameters
    ----------
    weight_n : float
        [N]
    centre_m, pick_m, low_m : array_like, shape (2,)
        Centre of mass, pick, and where the pull-back takes hold, in the plane (x, z), body at its tilt. [m]
    direction : array_like, shape (2,)
        Where the pull-back pulls to, (x, z); any length.

    Returns
    -------
    pull_n : float
        Force of the pull-back [N]; negative: it would have to push.
    pick_n : ndarray, shape (2,)
        Force of the chain on the pick, (x, z). [N]
    lean : float
        Lean of the top chain from plumb, positive when its upper end is forward. [rad]

    Raises
    ------
    ValueError
        If the pull-back's line passes through the pick: it cannot hold a moment.
    """
    centre, pick, low = (np.asarray(p, dtype=float) for p in (centre_m, pick_m, low_m))
    toward = np.asarray(direction, dtype=float) / np.linalg.norm(np.asarray(direction, dtype=float))
    arm = float(_cross(low - pick, toward))
    if abs(arm) < 1e-9:
        raise ValueError("the pull-back's line passes through the pick: it can hold no moment")
    weight = np.array([0.0, -weight_n])
    pull = -float(_cross(centre - pick, weight)) / arm
    on_pick = -(weight + pull * toward)
    return pull, on_pick, float(np.arctan2(on_pick[0], on_pick[1]))


def joint_forces(
    pivot_m: npt.ArrayLike,
    upper_hole_m: npt.ArrayLike,
    lower_hole_m: npt.ArrayLike,
    up: npt.ArrayLike,
    mass_kg: npt.ArrayLike,
    centre_m: npt.ArrayLike,
    extra_force_n: npt.ArrayLike = (0.0, 0.0),
    extra_at_m: npt.ArrayLike = (0.0, 0.0),
) -> Joints:
    """Rear links and front pivots of a column, all in the plane (x, z).

    On everything below a joint act its weights, any outside force, the link (a two-force member, along
    the line of its holes) and the pivot. Moments about the pivot H give the link:
    T (h − H) × e = −[Σ (x_k − x_H) × W_k + (p − H) × F], with h the lower hole and e from it to the upper.

    Parameters
    ----------
    pivot_m, upper_hole_m, lower_hole_m : array_like, shape (N, 2)
        Front pivot of each joint and the holes of its rear link on the item above and below. [m]
    up : array_like, shape (N, 2)
        Up direction of the item above each joint.
    mass_kg : array_like, shape (N,)
        Mass of the item below each joint. [kg]
    centre_m : array_like, shape (N, 2)
        Its centre of mass. [m]
    extra_force_n, extra_at_m : array_like, shape (2,) or (N, 2)
        Outside force on the part below each joint, such as a pull-back's, and where it acts. [N], [m]

    Returns
    -------
    Joints

    Raises
    ------
    ValueError
        If a link's line passes through its pivot.
    """
    pivot, upper, lower = (np.asarray(p, dtype=float) for p in (pivot_m, upper_hole_m, lower_hole_m))
    mass, centre = np.asarray(mass_kg, dtype=float), np.asarray(centre_m, dtype=float)
    extra = np.broadcast_to(np.asarray(extra_force_n, dtype=float), pivot.shape)
    at = np.broadcast_to(np.asarray(extra_at_m, dtype=float), pivot.shape)
    below = np.cumsum(mass[::-1])[::-1]
    moment_of = np.cumsum((mass[:, np.newaxis] * centre)[::-1], axis=0)[::-1]
    weight = G * below
    # Weights: Σ (x_k − x_H)·(−W_k), the y-moment a_x b_z − a_z b_x of vertical forces.
    moment = -G * (moment_of[:, 0] - below * pivot[:, 0]) + _cross(at - pivot, extra)
    length = np.linalg.norm(upper - lower, axis=1)
    along = (upper - lower) / length[:, np.newaxis]
    arm = _cross(lower - pivot, along)
    if np.any(np.abs(arm) < 1e-9):
        raise ValueError("a rear link's line passes through its front pivot: it can hold no moment")
    link = -moment / arm
    force = np.column_stack([np.zeros_like(weight), weight]) - extra - link[:, np.newaxis] * along
    up_axis = np.asarray(up, dtype=float)
    forward = np.column_stack([up_axis[:, 1], -up_axis[:, 0]])
    return Joints(link, force, np.sum(force * up_axis, axis=1), np.sum(force * forward, axis=1), length)


def vertical_loads(weight_n: float, centre_m: npt.ArrayLike, pick_m: npt.ArrayLike) -> tuple[Array, Array]:
    """Least and greatest load of each of several vertical chains on a rigid body, none of which can push.

    Balance of forces and of moments about both horizontal axes; where these leave loads open (four
    picks, three in line) the bounds are the ends of what they allow.

    Parameters
    ----------
    weight_n : float
        [N]
    centre_m : array_like, shape (2,)
        Centre of mass in plan (x, y). [m]
    pick_m : array_like, shape (K, 2)
        Picks in plan. [m]

    Returns
    -------
    low, high : ndarray, shape (K,)
        [N]; equal where statics determines them.

    Raises
    ------
    ValueError
        If no loads without a pushing chain balance the body: it would tip.
    """
    picks = np.asarray(pick_m, dtype=float)
    balance = np.vstack([np.ones(len(picks)), (picks - np.asarray(centre_m, dtype=float)).T])
    bounds = np.zeros((2, len(picks)))
    for index in range(len(picks)):
        for row, sign in enumerate((1.0, -1.0)):
            cost = np.zeros(len(picks))
            cost[index] = sign
            solved = linprog(cost, A_eq=balance, b_eq=[1.0, 0.0, 0.0], bounds=(0.0, None), method="highs")
            if not solved.success or solved.x is None:
                raise ValueError("no loads without a pushing chain balance the body: it would tip or swing")
            bounds[row, index] = solved.x[index]
    return weight_n * bounds[0], weight_n * bounds[1]


def _cross(a: Array, b: Array) -> Array:
    """a_x b_z − a_z b_x."""
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])
