"""One table of names and units: of the variables of a result, of evenness.csv, tour.csv and compare.csv, and of the
numbers in rigging.json.

A name means the same wherever it stands; its unit is that of the table, `1` for counts, shares and indices.
"""

from __future__ import annotations

from typing import NamedTuple

from acoustics.bands import OCTAVES_HZ
from acoustics.results import VARIABLES


class Name(NamedTuple):
    """The unit of a name (empty for text), and what it is."""

    units: str
    text: str


_DB = "dB re 20 uPa"

COLUMNS: dict[str, Name] = {
    "hang": Name("", "hang or show"),
    "venue": Name("", "venue"),
    "revision": Name("", "revision of the result"),
    "name": Name("", "area, or all the audience that is served"),
    "role": Name("", "audience or quiet"),
    "area_m2": Name("m2", "plan area of the seats"),
    "positions": Name("1", "positions"),
    "positions_hidden": Name("1", "positions that no enclosure reaches in a straight line"),
    "positions_partly_hidden": Name("1", "positions that only some enclosures reach in a straight line"),
    "level_a_mean_db": Name(_DB, "mean A-weighted level over the seats"),
    "level_a_deviation_db": Name("dB", "standard deviation of the A-weighted level over the seats"),
    "level_a_p5_db": Name(_DB, "A-weighted level that 5 % of the seats do not exceed"),
    "level_a_p50_db": Name(_DB, "A-weighted level that half of the seats do not exceed"),
    "level_a_p95_db": Name(_DB, "A-weighted level that 95 % of the seats do not exceed"),
    "level_a_p5_p95_db": Name("dB", "between the 5th and the 95th percentile"),
    "level_a_apart_db": Name(_DB, "mean A-weighted level with different programme in the channels"),
    "level_a_same_db": Name(_DB, "mean A-weighted level with the same programme in all channels"),
    "fall_per_doubling_db": Name("dB", "fall of the A-weighted level with each doubling of the distance"),
    "worst_seat_db": Name("dB", "A-weighted level of the seat farthest from the mean, less the mean"),
    "worst_seat_x_m": Name("m", "where that seat is, from the stage towards the audience"),
    "worst_seat_y_m": Name("m", "where that seat is, towards stage left (house right)"),
    "worst_seat_z_m": Name("m", "where that seat is, up"),
    "shape_spread_rms_db": Name("dB", "RMS of how far the spectra of seats are from their mean shape"),
    "shape_spread_p95_db": Name("dB", "the same, 95th percentile of the seats"),
    **{f"deviation_{hz:g}_db": Name("dB", f"standard deviation of the {hz:g} Hz octave") for hz in OCTAVES_HZ},
}

_OF_FINDING = "as `unit` beside it says"
KEYS: dict[str, Name] = {
    # findings
    "value": Name(_OF_FINDING, "what was found"),
    "limit": Name(_OF_FINDING, "what it is judged by"),
    "used": Name("1", "share of the limit that is used"),
    "exceeds": Name("1", "findings that exceed"),
    "cannot be judged": Name("1", "findings that cannot be judged"),
    "within": Name("1", "findings that are within"),
    # picks and points
    "low_kg": Name("kg", "least load of the hole when complete, at rest"),
    "hole_kg": Name("kg", "greatest load of the hole when complete, at rest"),
    "hook_kg": Name("kg", "load below the hook when complete, at rest"),
    "roof_kg": Name("kg", "load at the roof when complete, at rest"),
    "worst_kg": Name("kg", "greatest load of the hole over all stages, at rest"),
    "worst_hook_kg": Name("kg", "greatest load below the hook over all stages, at rest"),
    "worst_roof_kg": Name("kg", "greatest load at the roof over all stages, at rest"),
    "factor": Name("1", "dynamic factor of the hoist"),
    "chain_m": Name("m", "hook to hook when complete"),
    "longest_chain_m": Name("m", "hook to hook, the longest over all stages"),
    "length_m": Name("m", "length of a bridle's leg"),
    "tension_kg": Name("kg", "tension of a bridle's leg"),
    "from_horizontal_deg": Name("deg", "angle of a bridle's leg"),
    "force_n": Name("N", "what is put on a point, x, y and z in venue axes, with the dynamic factor once"),
    # joints and stages
    "splay_deg": Name("deg", "splay of the joint"),
    "link_n": Name("N", "force of both rear links, positive where they pull"),
    "pivot_n": Name("N", "force of both front pivots, x and z in the plane of the column"),
    "pivot_axial_n": Name("N", "the same along the row above, positive up"),
    "pivot_shear_n": Name("N", "the same across it, positive forward"),
    "beyond_half_n": Name("N", "what one side of the joint may get beyond half"),
    "link_m": Name("m", "length of the rear link"),
    "rows": Name("1", "rows that are on, or rows by number"),
    "mass_kg": Name(
        "kg", "mass of the hang; of a stage: of what hangs then, with cables, without hardware at the picks"
    ),
    "picks_kg": Name("kg", "greatest load of each pick's hole at the stage"),
    "tilt_deg": Name("deg", "elevation of the frame, positive up; of a stage: then"),
    "reachable_deg": Name("deg", "least and greatest elevation that the picks allow"),
    "lowest_elevation_deg": Name("deg", "aim elevation of the lowest row"),
    "hook_m": Name("m", "lowest hook above the floor when the cart begins to carry"),
    "pull_n": Name("N", "pull of the pull-back, forward and up"),
    "chain_lean_deg": Name("deg", "lean of the top chain"),
    # policy
    "rope_design_factor": Name("1", "wire rope, breaking force to load"),
    "marked_share": Name("1", "share of a marked limit that may be used"),
    "dynamic_factor": Name("1", "one dynamic factor for all hoists"),
    "least_pick_share": Name("1", "least share of the weight on each pick"),
    "lean_pick_share": Name("1", "share of each pick while leaned over a cart"),
    "least_leg_deg": Name("deg", "least angle of a bridle leg from the horizontal"),
    "included_angle_deg": Name("deg", "greatest angle between two legs"),
    "plumb_deg": Name("deg", "greatest angle of a chain from plumb"),
    "tilt_tolerance_deg": Name("deg", "tilt at which a hang is as drawn"),
    "trim_tolerance_m": Name("m", "trim at which a hang is as drawn"),
    "aim_tolerance_deg": Name("deg", "aim at which a row is as drawn"),
    "cell_share": Name("1", "share of its load that a cell may read off"),
    "cell_kg": Name("kg", "mass that a cell may read off in any case"),
    "sum_share": Name("1", "share of the whole that all cells together may read off"),
    "clearance_m": Name("m", "least height of the lowest edge above the floor below"),
    "swing_deg": Name("deg", "greatest swing in a gust"),
    "drag": Name("1", "drag coefficient"),
    "stability": Name("1", "least righting over overturning moment of a stack"),
    "friction": Name("1", "friction that a stack may count on"),
    # of a show: patch and stock
    "amplifier": Name("1", "number of the amplifier, counted through the show"),
    "channels": Name("1", "channels of the amplifier"),
    "cable": Name("1", "number of the cable, counted within the part"),
    "pairs": Name("1", "pairs of the cable"),
    "taken": Name("1", "items that the show takes, by type"),
}

RUNS: dict[str, Name] = {
    "run": Name("1", "index into `runs` of the run that the position belongs to"),
    "run_venue": Name("", "venue of the run"),
    "run_hang": Name("", "hang or show of the run"),
    "run_revision": Name("", "revision of the run"),
    "run_design": Name("", "design of the run"),
    "run_folder": Name("", "folder that it was read from"),
    "run_mean": Name(_DB, "mean A-weighted level over the seats that the hang serves"),
    "run_spread": Name("dB", "between the 5th and the 95th percentile of these seats"),
    "run_fall": Name("dB", "fall of the A-weighted level with each doubling of the distance"),
    "run_mass": Name("kg", "mass of the hang without cables; NaN of a show"),
    "run_tilt": Name("deg", "elevation of the frame; NaN of a show"),
    "run_trim": Name("m", "height of the frame's front pivot line; NaN of a show"),
}

# Columns of tour.csv and compare.csv that are not those of evenness.csv.
TABLES: dict[str, Name] = {
    "stop": Name("", "stop of the tour"),
    "option": Name("", "what is compared"),
    "status": Name("", "the worst of its findings, or that it was not worked out"),
    "enclosures": Name("1", "enclosures of the column"),
    "types": Name("", "numbers by type"),
    "splays_deg": Name("deg", "splays from the top down, the frame's joint first"),
    "trim_m": Name("m", "height of the frame's front pivot line above the venue's datum"),
    "lowest_edge_m": Name("m", "height of the lowest edge above the venue's datum"),
    "temperature_c": Name("degC", "temperature of the air"),
    "j_db": Name("dB", "unevenness over all seats, without its term of level"),
    "exceed": Name("1", "findings that exceed"),
    "cannot_be_judged": Name("1", "findings that cannot be judged"),
    "weakest": Name("", "finding that uses most of its limit"),
    "points": Name("", "load and limit of each of its points, all hangs together, moving in still air"),
    "stock": Name("", "what the stop takes of what is on the truck"),
    "designed": Name("", "whether a search chose splays, tilt and trim"),
    "design": Name("", "design word of the hang"),
    "folder": Name("", "folder of the report"),
    "fault": Name("", "why the stop was not worked out"),
    "not_an_option_because": Name("", "findings that exceed"),
}

# Attributes of a result in a venue that was measured by laser; standard uncertainties.
MEASURED: dict[str, Name] = {
    "measured_shots": Name("1", "laser shots of the venue file"),
    "measured_residual_m": Name("m", "greatest distance of a shot from the plane of its area"),
    "measured_residual_of": Name("", "which shot that is"),
    "measured_unchecked": Name("", "areas with shots that no other shot checks"),
    "measured_standpoints": Name("", "where the instrument stood, of standpoints that ties told"),
    "measured_tie_m": Name("m", "greatest distance of a shot from the place of its tie; NaN: no ties"),
    "measured_corner_m": Name("m", "greatest uncertainty of a corner along x, y or z"),
    "measured_level_db": Name("dB", "what that means for the third octave of 8 kHz, greatest of the measured areas"),
    "measured_level_of": Name("", "which area that is"),
    "measured_distance_mm": Name("mm", "uncertainty of a distance as read"),
    "measured_angle_deg": Name("deg", "uncertainty of an angle as read"),
}

NAMES: dict[str, Name] = {
    **{name: Name(units, text) for name, (_, units, text) in VARIABLES.items()},
    **COLUMNS,
    **KEYS,
    **TABLES,
    **RUNS,
    **MEASURED,
}
