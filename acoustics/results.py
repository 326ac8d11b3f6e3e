"""One xarray Dataset per prediction: names and units from one table, saved and read back."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

import numpy as np
import tomlkit
import xarray as xr

FORMAT = "field/1"
ENGINE: Literal["h5netcdf"] = "h5netcdf"

# name: (dims, units, long name). Every variable and coordinate of a result is one of these.
VARIABLES: dict[str, tuple[tuple[str, ...], str, str]] = {
    "band": (("band",), "Hz", "nominal third octave"),
    "line": (("line",), "Hz", "single frequency"),
    "octave": (("octave",), "Hz", "nominal octave"),
    "frequency": (("band",), "Hz", "exact midband frequency, or the line"),
    "level": (("band", "position"), "dB re 20 uPa", "level at the drive and with the programme of the attributes"),
    "octave_level": (("octave", "position"), "dB re 20 uPa", "octave level"),
    "level_a": (("position",), "dB re 20 uPa", "A-weighted level"),
    "level_c": (("position",), "dB re 20 uPa", "C-weighted level"),
    "pressure": (("line", "position"), "Pa", "complex pressure, e^{+jwt}"),
    "refinement": (("band", "position"), "dB", "change of level with twice the points per enclosure; NaN: not known"),
    "sub_bands": (("band",), "1", "equal parts that the band was cut into for the sum"),
    "headroom": (("source", "band"), "dB", "greatest continuous level less that at the drive; NaN: not known"),
    "arrival": (("source", "position"), "s", "time of arrival, drive delay included"),
    "hidden": (("source", "position"), "1", "straight path is blocked"),
    "x": (("position",), "m", "position, from the stage towards the audience"),
    "y": (("position",), "m", "position, towards stage left (house right)"),
    "z": (("position",), "m", "position, up"),
    "floor": (("position",), "m", "height of the area below the position"),
    "area": (("position",), "", "area that the position belongs to"),
    "distance": (("position",), "m", "horizontal distance from the hang's frame reference"),
    "along": (("position",), "m", "distance from the frame reference along the hang's azimuth"),
    "seat_weight": (("position",), "m2", "plan area that the position stands for; 0 on the section"),
    "on_section": (("position",), "1", "lies on the section through the hang's aim"),
    "source_x": (("source",), "m", "reference point, x"),
    "source_y": (("source",), "m", "reference point, y"),
    "source_z": (("source",), "m", "reference point, z"),
    "source_axes": (("source", "axis", "component"), "1", "forward, left and up directions in venue axes"),
    "source_type": (("source",), "", "enclosure type"),
    "source_row": (("source",), "1", "row in the column, from the top"),
    "source_gain": (("source",), "1", "linear gain of its drive"),
    "source_delay": (("source",), "s", "delay of its drive"),
    "aim_elevation": (("source",), "deg", "aim elevation, positive up"),
    "aim_azimuth": (("source",), "deg", "aim azimuth, positive to stage left"),
    "aim_end_along": (("source",), "m", "where the aim line ends in the section, along the azimuth"),
    "aim_end_height": (("source",), "m", "where the aim line ends in the section, height"),
    "element": (("element",), "", "frame and rows, top down"),
    "outline_along": (("element", "vertex"), "m", "side outline in the section, along the azimuth"),
    "outline_height": (("element", "vertex"), "m", "side outline in the section, height"),
    "surface": (("surface",), "", "area of the venue"),
    "surface_role": (("surface",), "", "audience, quiet or obstacle"),
    "surface_served": (("surface",), "1", "audience that the hang serves"),
    "surface_corner": (("surface", "corner", "component"), "m", "corners of the area; NaN past the last"),
    "surface_corner_within": (
        ("surface", "corner", "component"), "m", "standard uncertainty of a measured corner; NaN where not measured"),
    "shot": (("shot",), "", "laser shot of an area"),
    "shot_off": (("shot",), "m", "how far it lies off the plane of its area, positive above"),
    "shot_off_others": (("shot",), "m", "how far it lies off the plane of all other shots; NaN: they tell none"),
    "shot_limit": (("shot",), "m", "how far off it may lie"),
    "surface_cell": (("surface", "side"), "m", "size of the area's grid cells; NaN where not sampled"),
    "surface_layer": (("surface",), "1", "areas of one layer do not overlap in plan; -1 for obstacles"),
    "cut_surface": (("cut",), "1", "index of the surface that the section cuts"),
    "cut_along": (("cut", "end"), "m", "ends of the cut, along the azimuth"),
    "cut_height": (("cut", "end"), "m", "ends of the cut, height"),
    "part": (("part",), "", "hang or placed enclosures of a show"),
    "part_channel": (("part",), "", "programme channel that it carries"),
    "part_delay": (("part",), "s", "delay of the part as a whole"),
    "part_serves": (("part", "surface"), "1", "area that it serves, by its file or, where that is silent, by level"),
    "part_level": (("part", "band", "position"), "dB re 20 uPa", "level of each part of a show alone"),
    "part_level_a": (("part", "position"), "dB re 20 uPa", "A-weighted level of each part of a show alone"),
    "part_arrival": (("part", "position"), "s", "first arrival of each part, delays included; NaN: hidden"),
    "source_part": (("source",), "1", "index of the part that the source belongs to"),
    "level_apart": (("band", "position"), "dB re 20 uPa", "level with different programme in the channels"),
    "level_same": (("band", "position"), "dB re 20 uPa", "level with the same programme in all channels"),
    "level_a_apart": (("position",), "dB re 20 uPa", "A-weighted level with different programme in the channels"),
    "level_a_same": (("position",), "dB re 20 uPa", "A-weighted level with the same programme in all channels"),
    "loudest_part": (("position",), "1", "index of the part of greatest A-weighted level; -1: none"),
    "second_below": (("position",), "dB", "how far the next loudest part lies below it; NaN: there is none"),
    "echo_late": (("position",), "s", "how late the latest part arrives that may be heard as an echo; NaN: none"),
    "surface_direction": (("surface",), "rad", "plan direction of the grid's first side"),
}  # fmt: skip

_COORDINATES = ("frequency", "x", "y", "z", "floor", "area", "distance", "along", "seat_weight", "on_section")


def dataset(values: Mapping[str, Any], attributes: Mapping[str, Any]) -> xr.Dataset:
    """Assemble a Dataset; dims, units and long names come from the table.

    Raises
    ------
    KeyError
        If a name is not in the table.
    """
    lines = "line" in values
    arrays: dict[str, Any] = {}
    for name, value in values.items():
        dims, units, text = VARIABLES[name]
        if lines:
            dims = tuple("line" if dim == "band" else dim for dim in dims)
        arrays[name] = (dims, np.asarray(value), {"long_name": text, **({"units": units} if units else {})})
    coordinates = {n: a for n, a in arrays.items() if n in _COORDINATES or n.startswith("source_") or (n,) == a[0]}
    variables = {n: a for n, a in arrays.items() if n not in coordinates}
    return xr.Dataset(variables, coordinates, {"format": FORMAT, **attributes})


def settings_text(settings: Mapping[str, Any]) -> str:
    """All inputs of a result as one TOML text."""
    return tomlkit.dumps(dict(settings))


def save(result: xr.Dataset, path: str | os.PathLike[str]) -> None:
    """Write a result as NetCDF4; complex pressure goes as its real and imaginary part."""
    if "pressure" in result:
        pressure = result["pressure"]
        parts = {"pressure_real": pressure.real, "pressure_imag": pressure.imag}
        for part in parts.values():
            part.attrs = dict(pressure.attrs)
        result = result.drop_vars("pressure").assign(parts)
    result.to_netcdf(Path(path), engine=ENGINE, format="NETCDF4")


def load(path: str | os.PathLike[str]) -> xr.Dataset:
    """Read a result back as it was saved.

    Raises
    ------
    ValueError
        If the file is no result of this project.
    """
    with xr.open_dataset(Path(path), engine=ENGINE) as opened:
        result = opened.load()
    if result.attrs.get("format") != FORMAT:
        raise ValueError(f"{os.fspath(path)}: is no {FORMAT} result (got {result.attrs.get('format')!r})")
    if "pressure_real" in result:
        real, imaginary = result["pressure_real"], result["pressure_imag"]
        pressure = real + 1j * imaginary
        pressure.attrs = dict(real.attrs)
        result = result.drop_vars(["pressure_real", "pressure_imag"]).assign(pressure=pressure)
    return result
