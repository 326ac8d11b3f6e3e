"""Random hangs, written as files, against a second geometry in complex numbers and against finite elements.

The second geometry reads the files' numbers, places every item at its tilt as complex numbers x + jz, and asks
that every single body be in balance: that alone determines all forces. The finite elements know the places only.
"""

from __future__ import annotations

import cmath
import math
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from random import Random
from typing import Any

import numpy as np
import pytest
import tomlkit
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from Pynite import FEModel3D

from rigging import statics
from rigging.column import column_of, joints_of
from rigging.equipment import load_catalogue
from rigging.hang import Hang, load_hang
from rigging.loads import balance, pullback_place

Read = dict[str, dict[str, Any]]

G = 9.80665
# Shares of the weight, or of the weight times a metre. Sums of a hundred doubles: 4e-13 measured.
ROUNDING = 1e-11
# The elements solve for displacements, whose differences lose digits: 7e-9 measured.
ELEMENTS = 1e-7
AHEAD = 0.7 - 0.3j  # hubs of the elements, away from all other places

# A seed is drawn for each example, so that examples differ in everything at once.
EXAMPLES = settings(max_examples=80, derandomize=True, deadline=None, database=None, phases=[Phase.generate])
FEWER = settings(EXAMPLES, max_examples=25)
DRAWN = given(st.randoms(use_true_random=True))


def between(draw: Random, low: float, high: float) -> float:
    """A number with three decimals."""
    return draw.randint(math.ceil(1000 * low), math.floor(1000 * high)) / 1000


def hardware(draw: Random, kind: str, name: str, height: float) -> dict[str, Any]:
    depth, front = between(draw, 0.55, 0.9), between(draw, -0.05, 0.15)
    up = between(draw, 0.01, height - 0.01)
    item = {
        "format": f"{kind}/1",
        "name": name,
        "description": "drawn",
        "source": "drawn",
        "mass_kg": between(draw, 8, 120),
        "centre_of_mass_m": [between(draw, front - depth, front), 0.0, up if kind == "frame" else -up],
        "width_m": 1.0,
        "height_m": height,
        "depth_m": depth,
        "front_m": front,
        "pivot": "front",
        "rear_hole_back_m": between(draw, 0.2, 0.39),
        "rear_hole_inset_m": between(draw, 0.02, 0.08),
    }
    return item if kind == "frame" else item | {"top_fitting": name}


def below(draw: Random, upper: dict[str, Any], lower: dict[str, Any]) -> dict[str, Any]:
    """Upper holes lie near the lower ones or are the item's own; links stay longer than 12 mm."""
    entry: dict[str, Any] = {"fitting": lower["top_fitting"]}
    own = upper.get("lower_rear_hole_back_m", upper["rear_hole_back_m"])
    if abs(own - lower["rear_hole_back_m"]) > 0.03 or draw.random() < 0.5:
        entry["rear_hole_back_m"] = lower["rear_hole_back_m"] + between(draw, -0.03, 0.03)
    room = upper["rear_hole_inset_m"] + lower["rear_hole_inset_m"] - 0.012
    return entry | {"splays_deg": [float(s) for s in range(12) if math.sin(math.radians(s)) * 0.39 < room]}


def draw_files(draw: Random) -> Read:
    """Equipment and a hang of 2 to 24 enclosures of one or two types, of any splay that the joints allow."""
    frame = hardware(draw, "frame", "frame", between(draw, 0.06, 0.2))
    front = between(draw, frame["front_m"] - 0.2, frame["front_m"])
    places = {"a": front, "b": front - between(draw, 0.1, 0.3)}
    frame["hole"] = [{"name": n, "position_m": [x, 0.0, between(draw, 0.09, 0.2)]} for n, x in places.items()]
    upper, lower = (hardware(draw, "enclosure", name, between(draw, 0.17, 0.6)) for name in ("upper", "lower"))
    adapter = hardware(draw, "adapter", "adapter", between(draw, 0.17, 0.25))
    adapter["lower_pivot_ahead_m"] = between(draw, -0.05, 0.05)
    adapter["lower_rear_hole_back_m"] = lower["rear_hole_back_m"] + between(draw, -0.02, 0.02)
    mates = [(frame, (upper, lower)), (upper, (upper, adapter)), (adapter, (lower,)), (lower, (lower,))]
    for holder, held in mates:
        holder["below"] = [below(draw, holder, item) for item in held]
    for box in (upper, lower):
        rear = box["front_m"] - box["depth_m"]
        box["pullback_m"] = [max(between(draw, -0.5, -0.3), rear), 0.0, -between(draw, 0.0, box["height_m"])]
        box |= {"reference_m": [0.0, 0.0, 0.0], "acoustic": {"model": "point"}}
    above = draw.randint(0, 12)
    beneath = draw.randint(max(0, 2 - above), 12)
    names = [*["upper"] * above, *["adapter"] * bool(above and beneath), *["lower"] * beneath]
    items, rows, holder = {"upper": upper, "adapter": adapter, "lower": lower}, [], frame
    for name in names:
        (allowed,) = [b["splays_deg"] for b in holder["below"] if b["fitting"] == name]
        rows.append({"adapter" if name == "adapter" else "enclosure": name, "splay_deg": draw.choice(allowed)})
        holder = items[name]
    hang: dict[str, Any] = {
        "format": "hang/1",
        "name": "drawn",
        "frame": "frame",
        "position_m": [between(draw, -9, 9), between(draw, -9, 9), between(draw, 5, 20)],
        "azimuth_deg": between(draw, -180, 180),
        "tilt_deg": between(draw, -40, 40),
        "pick": [{"hole": "a"}, {"hole": "b"}],
        "column": rows,
    }
    if draw.random() < 0.5:
        hang["loom"] = {"kg_per_m": between(draw, 0.1, 3)}
    return {"frame": frame, **items, "hang": hang}


@dataclass(frozen=True)
class Body:
    """A rigid body: mass, its places as complex numbers, the forward direction of the item above."""

    mass: float
    centre: complex
    pivot: complex
    upper_hole: complex
    lower_hole: complex
    above: complex
    hub: complex
    corners: list[complex]
    hold: complex = 0j


def second_geometry(read: Read, tilt: float) -> list[Body]:
    """Frame first; the frame's reference is the origin."""
    hang, frame = read["hang"], read["frame"]
    turn, pivot = cmath.exp(1j * tilt), 0j
    x, _, z = frame["centre_of_mass_m"]
    f, d, h = frame["front_m"], frame["depth_m"], frame["height_m"]
    corners = [turn * c for c in (f + 0j, f + 1j * h, f - d, f - d + 1j * h)]
    bodies = [Body(frame["mass_kg"], turn * (x + 1j * z), 0j, 0j, 0j, turn, turn * AHEAD.conjugate(), corners)]
    above, holder = turn, frame
    for row in hang["column"]:
        item = read[row.get("enclosure") or row["adapter"]]
        turn = above * cmath.exp(-1j * math.radians(row["splay_deg"]))
        own = holder.get("lower_rear_hole_back_m", holder["rear_hole_back_m"])
        (entry,) = [b for b in holder["below"] if b["fitting"] == item["top_fitting"]]
        upper = pivot + above * (-entry.get("rear_hole_back_m", own) + 1j * holder["rear_hole_inset_m"])
        lower = pivot - turn * (item["rear_hole_back_m"] + 1j * item["rear_hole_inset_m"])
        f, d, h = item["front_m"], item["depth_m"], item["height_m"]
        x, _, z = item["centre_of_mass_m"]
        loom = hang.get("loom", {}).get("kg_per_m", 0.0) * h
        mass = item["mass_kg"] + loom
        centre = pivot + turn * ((x + 1j * z) * item["mass_kg"] + loom * (f - d - 0.5j * h)) / mass
        corners = [pivot + turn * c for c in (f + 0j, f - 1j * h, f - d, f - d - 1j * h)]
        u, _, v = item.get("pullback_m", [0.0] * 3)
        hub, hold = pivot + turn * AHEAD, pivot + turn * complex(u, v)
        bodies.append(Body(mass, centre, pivot, upper, lower, above, hub, corners, hold))
        pivot += turn * (item.get("lower_pivot_ahead_m", 0.0) - 1j * h)
        above, holder = turn, item
    return bodies


def moment(place: complex, force: complex) -> float:
    return (place.conjugate() * force).imag


def hole(read: Read, name: str, tilt: float) -> complex:
    (place,) = [h["position_m"] for h in read["frame"]["hole"] if h["name"] == name]
    return cmath.exp(1j * tilt) * complex(place[0], place[2])


def weight_of(bodies: list[Body]) -> float:
    return G * sum(body.mass for body in bodies)


@pytest.fixture(scope="module")
def load(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Read], tuple[Read, Hang]]:
    """Writes files, reads them back both ways."""
    folder = tmp_path_factory.mktemp("drawn")
    (folder / "equipment").mkdir()

    def run(drawn: Read) -> tuple[Read, Hang]:
        read = {}
        for name, data in drawn.items():
            path = folder / "hang.toml" if name == "hang" else folder / "equipment" / f"{name}.toml"
            path.write_text(tomlkit.dumps(data))
            read[name] = tomllib.loads(path.read_text())
        return read, load_hang(folder / "hang.toml", load_catalogue([folder / "equipment"]))

    return run


@EXAMPLES
@DRAWN
def test_every_body_is_in_balance(load, draw):
    """Weights, picks, links and pivots of each body by themselves, and the geometry that they act in."""
    read, hang = load(draw_files(draw))
    tilt = math.radians(read["hang"]["tilt_deg"])
    bodies, column = second_geometry(read, tilt), column_of(hang)
    joints, held = joints_of(column, tilt), balance(hang, column, tilt)
    w = weight_of(bodies)
    np.testing.assert_allclose(column.mass_kg * G, w, rtol=1e-12, atol=0)
    np.testing.assert_allclose(column.lowest_m(tilt), min(c.imag for b in bodies for c in b.corners), rtol=1e-12)
    assert held.tilt == tilt
    np.testing.assert_array_equal(held.low, held.high)
    assert bool(held.problem) == bool(min(held.low) < 0)
    pivots, along = [complex(*p) for p in joints.pivot], []
    for body, length, axial, shear, pivot in zip(
        bodies[1:], joints.link_m, joints.pivot_axial, joints.pivot_shear, pivots, strict=True
    ):
        span = body.upper_hole - body.lower_hole
        np.testing.assert_allclose(length, abs(span), rtol=1e-11, atol=0)
        along.append(span / abs(span))
        # Along the up and forward directions of the item above.
        assert abs((axial * 1j + shear) * body.above - pivot) < ROUNDING * w
    for index, body in enumerate(bodies):
        acts = [(body.centre, -1j * body.mass * G)]
        if index == 0:
            acts += [(hole(read, name, tilt), 1j * force) for name, force in zip("ab", held.low, strict=True)]
        else:
            acts += [(body.pivot, pivots[index - 1]), (body.lower_hole, joints.link[index - 1] * along[index - 1])]
        if index < len(bodies) - 1:
            under = bodies[index + 1]
            acts += [(under.pivot, -pivots[index]), (under.upper_hole, -joints.link[index] * along[index])]
        assert abs(sum(force for _, force in acts)) < ROUNDING * w
        assert abs(sum(moment(place, force) for place, force in acts)) < ROUNDING * w


class Elements:
    """Stiff stars from a hub in each body, hinged at the pivots above; links as bars that may push."""

    def __init__(self, bodies: list[Body], holds: list[tuple[int, complex]]) -> None:
        self.model, self.bodies, self.names = FEModel3D(), bodies, {}
        self.model.add_material("stiff", E=1e6, G=4e5, nu=0.25, rho=0.0)
        self.model.add_section("any", A=1.0, Iy=1.0, Iz=1.0, J=1.0)
        self.arms, self.links = [], []
        for index, body in enumerate(bodies):
            ends = [body.centre] if index == 0 else [body.centre, body.lower_hole]
            if index < len(bodies) - 1:
                ends += [bodies[index + 1].pivot, bodies[index + 1].upper_hole]
            ends += [place for on, place in holds if bodies[on] is body]
            if index:
                self.arms.append(self.member(body.hub, body.pivot, Rzj=True))
            for end in ends:
                self.member(body.hub, end)
            self.model.add_node_load(self.node(body.centre), "FY", -body.mass * G)
            if index:
                self.links.append(self.bar(body.upper_hole, body.lower_hole))

    def node(self, z: complex) -> str:
        key = (round(z.real, 9), round(z.imag, 9))
        if key not in self.names:
            self.names[key] = self.model.add_node(f"node {len(self.names)}", z.real, z.imag, 0.0)
            self.support(z)
        return self.names[key]

    def support(self, z: complex, x: bool = False, up: bool = False) -> None:
        """All nodes stay in the plane."""
        self.model.def_support(self.node(z), x, up, True, True, True, False)

    def member(self, a: complex, b: complex, **released: bool) -> str:
        name = f"member {len(self.model.members)}"
        self.model.add_member(name, self.node(a), self.node(b), "stiff", "any")
        self.model.def_releases(name, **released)
        return name

    def bar(self, a: complex, b: complex) -> str:
        return self.member(a, b, Rzi=True, Rzj=True)

    def tension(self, bar: str) -> float:
        """The library counts compression as positive."""
        return -float(self.model.members[bar].axial(0.0))

    def reaction(self, z: complex) -> complex:
        """Force of a support on the structure."""
        node = self.model.nodes[self.node(z)]
        return complex(node.RxnFX["Combo 1"], node.RxnFY["Combo 1"])

    def compare(self, joints: statics.Joints) -> None:
        room = ELEMENTS * weight_of(self.bodies)
        tensions = [self.tension(bar) for bar in self.links]
        np.testing.assert_allclose(joints.link, tensions, rtol=0, atol=room)
        # Forces on the far ends of the arms, which are on the parts below.
        pivots = [self.model.members[arm].F()[6:8, 0] for arm in self.arms]
        np.testing.assert_allclose(joints.pivot, pivots, rtol=0, atol=room)


@FEWER
@DRAWN
def test_two_picks_by_finite_elements(load, draw):
    read, hang = load(draw_files(draw))
    tilt = math.radians(read["hang"]["tilt_deg"])
    bodies, column = second_geometry(read, tilt), column_of(hang)
    places = [hole(read, name, tilt) for name in "ab"]
    elements = Elements(bodies, [(0, place) for place in places])
    elements.support(places[0], x=True, up=True)
    elements.support(places[1], up=True)
    elements.model.analyze_linear()
    reactions = [elements.reaction(place).imag for place in places]
    room = ELEMENTS * weight_of(bodies)
    np.testing.assert_allclose(balance(hang, column, tilt).low, reactions, rtol=0, atol=room)
    elements.compare(joints_of(column, tilt))


@FEWER
@DRAWN
def test_single_pick_by_finite_elements(load, draw):
    """At the tilt of the balance a second support, which keeps the elements from turning, carries nothing."""
    drawn = draw_files(draw)
    drawn["hang"]["pick"] = [{"hole": draw.choice("ab")}]
    read, hang = load(drawn)
    column = column_of(hang)
    held = balance(hang, column, 0.0)
    assert not held.problem
    bodies = second_geometry(read, held.tilt)
    name = read["hang"]["pick"][0]["hole"]
    pick, other = (hole(read, n, held.tilt) for n in (name, "b" if name == "a" else "a"))
    elements = Elements(bodies, [(0, pick), (0, other)])
    elements.support(pick, x=True, up=True)
    elements.support(other, up=True)
    elements.model.analyze_linear()
    w = weight_of(bodies)
    assert abs(elements.reaction(other)) < ELEMENTS * w
    assert abs(elements.reaction(pick) - 1j * held.low[0]) < ELEMENTS * w
    np.testing.assert_allclose(held.low, [w], rtol=1e-12, atol=0)
    elements.compare(joints_of(column, held.tilt))


@FEWER
@DRAWN
def test_pullback_by_finite_elements(load, draw):
    """A bar from the bottom enclosure to where the rope goes; above the frame a hinge stands for the leaning chain."""
    drawn = draw_files(draw)
    tilt = math.radians(drawn["hang"]["tilt_deg"])
    bodies = second_geometry(drawn, tilt)
    name, length = draw.choice("ab"), between(draw, 0.5, 6)
    pick, hold = hole(drawn, name, tilt), bodies[-1].hold
    # Plumb in one case of four, else up to 70° from it; its line passes at least 0.15 m from the pick.
    turns = [0.0] if draw.random() < 0.25 else [draw.uniform(-70, 70) for _ in range(50)]
    along = [1j * cmath.exp(1j * math.radians(turn)) for turn in turns]
    along = [e for e in along if abs(moment(hold - pick, e)) > 0.15]
    anchor = hold + length * (along[0] if along else 1j * (hold - pick) / abs(hold - pick))
    x, y, z = drawn["hang"]["position_m"]
    azimuth = math.radians(drawn["hang"]["azimuth_deg"])
    to = [x + anchor.real * math.cos(azimuth), y + anchor.real * math.sin(azimuth), z + anchor.imag]
    drawn["hang"] |= {"pick": [{"hole": name}], "pullback": {"to_m": to}}
    _, hang = load(drawn)
    column = column_of(hang)
    held, place = balance(hang, column, tilt), pullback_place(hang, column)
    np.testing.assert_allclose(complex(*place) * cmath.exp(1j * tilt), hold, rtol=1e-11, atol=0)
    elements = Elements(bodies, [(0, pick), (-1, hold)])
    rope = elements.member(hold, anchor, Rzi=True)
    elements.support(pick, x=True, up=True)
    elements.support(anchor, x=True, up=True)
    elements.model.analyze_linear()
    w = weight_of(bodies)
    force = elements.tension(rope) * (anchor - hold) / length
    assert abs(complex(*held.pull) - force) < ELEMENTS * w
    if abs(force) > ELEMENTS * w:
        assert held.problem == ("the pull-back would have to push" if elements.tension(rope) < 0 else "")
    chain = held.low[0] * 1j * cmath.exp(-1j * held.lean)
    assert abs(elements.reaction(pick) - chain) < ELEMENTS * w
    elements.compare(joints_of(column, tilt, held.pull, place))
