"""The policy that findings are judged by: data, selectable, printed with every report."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr

from rigging.files import Document, read, validate
from rigging.models import Flag, Model, Name, key, quantity

Factor = Annotated[float, quantity(1.0, 20.0, "")]
Angle = Annotated[float, quantity(0.0, 180.0, "deg")]
Share = Annotated[float, quantity(0.0, 1.0, "")]

# φ2 = φ2,min + β2 v, v in m/s (EN 13001-2, from memory).
HOISTING_CLASSES = {"HC1": (1.05, 0.17), "HC2": (1.10, 0.34), "HC3": (1.15, 0.51), "HC4": (1.20, 0.68)}


class Policy(Model):
    """Factors, angles and clearances, each with its source in the file's comments."""

    format: Literal["policy/1"] = key("kind of file", '"policy/1"')
    name: Name = key("name of the policy", '"over people"')
    source: Name = key("whose rule it is", '"DGUV Information 215-313"')
    over_people: Flag = key("whether people are below", "true")
    rope_design_factor: Factor = key("wire rope, breaking force to load", "10.0")
    marked_share: Annotated[float, quantity(0.05, 1.0, "")] = key("share of a marked limit that may be used", "0.5")
    dynamic_factor: Factor | None = Field(None, description="one factor for all; absent: by hoisting class")
    least_pick_share: Annotated[float, quantity(0.0, 0.5, "")] = key("least share of the weight on each pick", "0.1")
    lean_pick_share: Annotated[float, quantity(0.0, 0.5, "")] = key("share of each while leaned", "0.25")
    least_leg_deg: Annotated[float, quantity(1.0, 89.0, "deg")] = key("bridle leg from the horizontal", "30.0")
    included_angle_deg: Angle = key("greatest angle between two legs", "120.0")
    plumb_deg: Annotated[float, quantity(0.0, 30.0, "deg")] = key("chain out of plumb", "3.0")
    tilt_tolerance_deg: Annotated[float, quantity(0.0, 5.0, "deg")] = key("tilt at which a hang is as drawn", "0.5")
    trim_tolerance_m: Annotated[float, quantity(0.0, 2.0, "m")] = key("trim at which a hang is as drawn", "0.1")
    aim_tolerance_deg: Annotated[float, quantity(0.0, 5.0, "deg")] = key(
        "aim of a row, and splay between two, at which a hang is as drawn", "0.5"
    )
    cell_share: Share = key("share of its load that a cell may read off", "0.1")
    cell_kg: Annotated[float, quantity(0.0, 500.0, "kg")] = key("what a cell may read off at any load", "25.0")
    sum_share: Share = key("share of the whole that all cells together may read off", "0.05")
    clearance_m: Annotated[float, quantity(0.0, 20.0, "m")] = key("lowest edge above the floor below", "2.5")
    swing_deg: Annotated[float, quantity(0.0, 45.0, "deg")] = key("swing from plumb in a gust", "5.0")
    drag: Annotated[float, quantity(0.1, 3.0, "")] = key("drag coefficient", "1.3")
    stability: Factor = key("righting over overturning moment of a stack", "1.5")
    friction: Annotated[float, quantity(0.0, 1.0, "")] = key("friction that a stack may count on", "0.3")

    _document: Document | None = PrivateAttr(None)

    @property
    def document(self) -> Document | None:
        """The file that it was read from, None where it was made otherwise."""
        return self._document


def load_policy(path: str | Path | None = None) -> Policy:
    """Read a policy file, or the packaged one.

    Raises
    ------
    FileFaults
        With all its faults.
    """
    packaged = Path(str(resources.files("rigging") / "policies" / "over_people.toml"))
    document = read(packaged if path is None else path, "policy/1")
    policy = validate(document, Policy)
    policy._document = document
    return policy


def cell_allowance_kg(load_kg: float, policy: Policy) -> float:
    """What a load cell may read off an expected load: a share of it, or a fixed mass, whichever is more. [kg]"""
    return max(policy.cell_share * load_kg, policy.cell_kg)


def hoisting_factor(hoisting_class: str, speed_m_s: float) -> float:
    """Dynamic factor φ2 = φ2,min + β2 v of EN 13001-2 (values from memory), v in m/s.

    Raises
    ------
    ValueError
        If the class is none of HC1 to HC4.
    """
    if hoisting_class not in HOISTING_CLASSES:
        raise ValueError(f"hoisting class {hoisting_class} is none of {', '.join(HOISTING_CLASSES)}")
    least, slope = HOISTING_CLASSES[hoisting_class]
    return least + slope * speed_m_s
