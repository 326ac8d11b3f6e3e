"""The commands and what each may be asked; what runs them is imported only when it is needed."""

from __future__ import annotations

from typing import Any

from acoustics.app.arguments import (
    add_command,
    add_drive,
    add_files,
    add_grid,
    add_hang,
    add_model,
    add_mute,
    counts,
    frequencies,
    map_of,
    number,
    place,
    port,
    processes,
    steps,
)  # fmt: skip

STARTERS = ("venue", "hang", "show", "tour", "enclosure")

PREDICT_EXAMPLE = """\
example:
  evenhang predict sample_venues/theatre/left.toml sample_venues/theatre/venue.toml --out results

writes results/HANG-REVISION/ with field.nc (all levels), section.svg, distance.svg and plan.svg
"""

_CHECK_EXAMPLE = """\
example:
  evenhang check sample_venues/theatre/left.toml sample_venues/theatre/venue.toml

exit status: 0 all within, 1 a limit is exceeded, 2 the input is at fault, 4 something cannot be judged
"""

_DESIGN_EXAMPLE = """\
example:
  evenhang design sample_venues/theatre/left.toml sample_venues/theatre/venue.toml

writes results/HANG-REVISION/ with designed.toml, its prediction and its check, and up to five runners-up
exit status: 0 found and all within, 1 nothing within limits was found, 2 the input is at fault, 4 found, but something
cannot be judged, 130 stopped with control-C: the best so far is written
"""

_TOUR_EXAMPLE = """\
example:
  evenhang tour sample_venues/tour.toml

writes results/TOUR/ with index.html, tour.csv, tour.json and the reports of every stop; run again, it works out what
changed or failed
exit status: 0 all within, 1 a limit is exceeded or stock runs out, 2 the tour file is at fault, 3 a stop could not be
worked out, 4 nothing exceeds, but something cannot be judged
"""

_COMPARE_EXAMPLE = """\
examples:
  evenhang compare sample_venues/theatre/left.toml sample_venues/theatre/venue.toml --tilt=0:4:2
  evenhang compare --built sample_venues/theatre/readings.toml sample_venues/theatre/left.toml \\
      sample_venues/theatre/venue.toml

exit status: 0 done and all within, 1 every option exceeds a limit (--built: a reading is off, or a limit is exceeded),
2 the input is at fault, 4 something of the best option (--built: of the hang or its readings) cannot be judged
"""

_REPORT_EXAMPLE = """\
example:
  evenhang report sample_venues/theatre/left.toml sample_venues/theatre/venue.toml --out results

exit status: 0 all within, 1 a limit is exceeded, 2 the input is at fault, 4 something cannot be judged
"""


_NEW_EXAMPLE = """\
examples:
  evenhang new venue --out venue.toml
  evenhang new hang --out hang.toml
  evenhang check hang.toml venue.toml

exit status: 0 done, 2 the file is there already or cannot be written
"""

_EQUIPMENT_EXAMPLE = """\
examples:
  evenhang equipment list --kind enclosure
  evenhang equipment show medium
"""

_PAGE_EXAMPLE = """\
example:
  evenhang page sample_venues/theatre/left.toml sample_venues/theatre/venue.toml

It is ended with control-C. What is not saved is kept beside the hang file and offered at the next start.
"""

_VENUE_EXAMPLE = """\
examples:
  evenhang venue show sample_venues/theatre/venue.toml
  evenhang venue import sample_venues/drawn/hall.dxf --layer STALLS=audience --layer HANG-POINTS=points --out new.toml

exit status: 0 done, warnings or not, 2 the input is at fault
"""


def add_predict(commands: Any) -> None:
    """`evenhang predict`."""
    predict = add_command(
        commands,
        "predict",
        "the sound field of a hang in a venue: table, pictures, data",
        "Predict the sound field of a hang in a venue; print a summary, write data and pictures.",
        PREDICT_EXAMPLE,
    )
    add_hang(predict)
    add_files(predict)
    add_mute(predict)
    add_grid(predict)
    predict.add_argument("--lines", metavar="F,F,…", type=frequencies, help="single frequencies, Hz, not bands")
    predict.add_argument("--map", metavar="WHAT", type=map_of, help="of plan.svg: A (default) or an octave: 250 … 8000")
    add_drive(predict)
    add_model(predict)
    predict.add_argument(
        "--average-below",
        metavar="DB",
        type=number(0.0, 40.0),
        help="how far the event's average lies below the drive, for the note on hearing (default: 0)",
    )
    predict.add_argument("--json", action="store_true", help="print the summary for programs")
    predict.set_defaults(module="predict", show_module="show")


def add_check(commands: Any) -> None:
    """`evenhang check`."""
    check = add_command(
        commands,
        "check",
        "rigging: may it hang, and how is it built and landed",
        "Judge a hang against rated limits: picks, joints, hoists, bridles, points, stages.",
        _CHECK_EXAMPLE,
    )
    add_hang(check, "venue file (venue/1), for points and heights")
    add_files(check, judges=True, out=False)
    check.add_argument("--out", metavar="DIR", help="write check.txt and check.json there as well")
    check.add_argument("--json", action="store_true", help="print the report for programs")
    check.set_defaults(module="check", show_module="show_check")


def add_design(commands: Any) -> None:
    """`evenhang design`."""
    design = add_command(
        commands,
        "design",
        "choose splays, tilt and trim for even level, within the rigging's limits",
        "Search allowed splays, tilts and trims of a hang for even level; judge and predict the answer.",
        _DESIGN_EXAMPLE,
    )
    add_hang(design)
    design.add_argument("--hang", metavar="NAME", dest="of_show", help="which hang of a show")
    add_mute(design)
    add_files(design, judges=True)
    add_grid(design)
    design.add_argument("--seconds", metavar="S", type=number(0.1, 86_400.0), help="search so long, not a set number")
    design.add_argument("--seed", metavar="N", type=int, default=0, help="of the search (default: 0)")
    design.add_argument(
        "--robust", action="store_true", help="choose by the 90th percentile of J as built, not by J as drawn"
    )
    design.add_argument("--shade", action="store_true", help="choose gains of the drive groups, after the splays")
    design.add_argument("--correct", action="store_true", help="filters for all rows towards the wished spectrum")
    design.add_argument("--prove", action="store_true", help="go through every choice, for columns small enough")
    design.add_argument("--save", metavar="FILE", help="write the designed hang to this new file too")
    design.add_argument("--json", action="store_true", help="print the answer for programs")
    design.set_defaults(module="design")


def add_report(commands: Any) -> None:
    """`evenhang report`."""
    report = add_command(
        commands,
        "report",
        "one page file with coverage, rigging and the crew's sheet",
        "Predict and judge a hang or a show; write one HTML file to read and print, with its data.",
        _REPORT_EXAMPLE,
    )
    add_hang(report)
    add_files(report, judges=True)
    add_grid(report)
    add_drive(report)
    report.add_argument("--sheet", action="store_true", help="the crew's sheet alone")
    report.add_argument("--advance", action="store_true", help="the sheet for the venue's engineer alone")
    report.add_argument("--pdf", action="store_true", help="as PDF too, where Chromium is installed")
    report.add_argument("--paper", choices=("A4", "letter"), default="A4", help="that it is printed on (default: A4)")
    report.set_defaults(module="report", show_module="show_report")


def add_compare(commands: Any) -> None:
    """`evenhang compare`."""
    compare = add_command(
        commands,
        "compare",
        "options side by side, or a hang as built against its design",
        "Predict and judge every option; one table, and the most even one that exceeds no limit. "
        "With --built: what was read on a hang against its sheet, and what that changes.",
        _COMPARE_EXAMPLE,
    )
    compare.add_argument("files", metavar="HANG… VENUE", nargs="+", help="hang files, then the venue file")
    add_files(compare, judges=True)
    add_mute(compare)
    for name, what in (("tilt", "tilts, deg"), ("trim", "trims, m"), ("temperature", "air, °C")):
        compare.add_argument(f"--{name}", metavar="A:B:STEP", type=steps, help=f"{what}: from A to B in steps")
    many = "numbers of enclosures: from A to B in steps, or N,N,…"
    compare.add_argument("--count", metavar="A:B:STEP", type=counts, help=many)
    compare.add_argument("--built", metavar="READINGS", help="one hang against what was read on it (readings/1)")
    compare.add_argument(
        "--other-design", action="store_true", help="with --built: take readings for another design word too"
    )
    add_grid(compare, 2.0)
    compare.add_argument("--json", action="store_true", help="print the table for programs")
    compare.set_defaults(module="compare")


def add_tour(commands: Any) -> None:
    """`evenhang tour`."""
    tour = add_command(
        commands,
        "tour",
        "all venues of a tour in one go: reports, index, table",
        "Predict or design, judge and report every hang at every stop of a tour; keep what is done.",
        _TOUR_EXAMPLE,
    )
    tour.add_argument("tour", metavar="TOUR", help="tour file (tour/1)")
    add_files(tour)
    tour.add_argument("--policy", metavar="FILE", help="policy in place of the tour's")
    where = tour.add_mutually_exclusive_group()
    where.add_argument("--processes", metavar="N", type=processes, help="so many at a time (default: all processors)")
    where.add_argument("--scheduler", metavar="ADDRESS", help="run on a Dask cluster (extra: cluster)")
    tour.add_argument("--json", action="store_true", help="print the table for programs")
    tour.set_defaults(module="tour")


def add_pack(commands: Any) -> None:
    """`evenhang pack`."""
    pack = add_command(
        commands,
        "pack",
        "one zip to hand over: all files that a result depends on, and the result",
        "Predict and judge a hang, show or tour; write one zip with all files used, hashes and results.",
        "exit status: 0 all within, 1 a limit is exceeded, 2 input at fault, 4 something cannot be judged",
    )
    pack.add_argument("hang", metavar="HANG", help="hang file (hang/1), show file (show/1) or tour file (tour/1)")
    pack.add_argument("venue", metavar="VENUE", nargs="?", help="venue file (venue/1); a show names its own")
    add_files(pack, judges=True, figures=False)
    add_mute(pack)
    add_grid(pack)
    add_drive(pack)
    add_model(pack)
    pack.add_argument("--json", action="store_true", help="print the pack's listing for programs")
    pack.set_defaults(module="pack")


def add_unpack(commands: Any) -> None:
    """`evenhang unpack`."""
    unpack = add_command(
        commands,
        "unpack",
        "open such a zip, and see whether it comes to the same here",
        "Check every file of a pack, compute it anew with its own equipment and policy, and compare.",
        "exit status: 0 the same words and figures, 1 some differ, 2 the pack is at fault: nothing is unpacked",
    )
    unpack.add_argument("pack", metavar="PACK", help="zip that evenhang pack wrote")
    unpack.add_argument("--out", metavar="DIR", default="results", help="folder to unpack into (default: results)")
    unpack.add_argument("--json", action="store_true", help="print what differs for programs")
    unpack.set_defaults(module="unpack")


def add_venue(commands: Any) -> None:
    """`evenhang venue` with import, export and show."""
    venue = add_command(
        commands,
        "venue",
        "a venue from a drawing (DXF), to a drawing, or looked at",
        "Read a venue from a DXF drawing, write it as one, or draw it and say what looks wrong.",
        _VENUE_EXAMPLE,
    )
    actions = venue.add_subparsers(dest="action", metavar="ACTION", required=True)
    _add_import(actions)
    _add_export(actions)
    _add_show(actions)


def _add_import(actions: Any) -> None:
    read = actions.add_parser("import", help="a venue file from layers of a DXF drawing (extra: cad)")
    read.add_argument("file", metavar="FILE.dxf", help="drawing, DXF as text")
    roles = "a layer, and what it is: audience, quiet, obstacle or points"
    read.add_argument("--layer", metavar="NAME=ROLE", action="append", required=True, help=roles)
    unit = "what one unit is: m, mm, cm, ft, in, …; where the drawing does not say it, or says it wrong"
    read.add_argument("--unit", metavar="UNIT", help=unit)
    arcs = "how far chords may lie off arcs, m (default: 0.02)"
    read.add_argument("--sag", metavar="M", type=number(0.001, 1.0), default=0.02, help=arcs)
    flat = "how far corners may lie off a plane before an outline is split, m (default: 0.05)"
    read.add_argument("--flat-within", metavar="M", type=number(0.001, 2.0), default=0.05, help=flat)
    datum = "middle of the stage's front edge in the drawing, in its own unit (default: its origin)"
    read.add_argument("--origin", metavar="X,Y,Z", type=place, default=(0.0, 0.0, 0.0), help=datum)
    turn = "turn about it, positive from x to y, so that x leads from the stage to the audience (default: 0)"
    read.add_argument("--turn", metavar="DEG", type=number(-360.0, 360.0), default=0.0, help=turn)
    read.add_argument("--out", metavar="FILE", help="new venue file (default: FILE.toml beside the drawing)")
    read.add_argument("--json", action="store_true", help="print what was read for programs")
    read.set_defaults(module="venue_import")


def _add_export(actions: Any) -> None:
    write = actions.add_parser("export", help="a venue, and hangs in it, as a DXF drawing (extra: cad)")
    write.add_argument("venue", metavar="VENUE", help="venue file (venue/1)")
    write.add_argument("hangs", metavar="HANG", nargs="*", help="hang files (hang/1)")
    add_files(write, out=False, figures=False)
    write.add_argument("--out", metavar="FILE.dxf", required=True, help="new drawing")
    write.set_defaults(module="venue_export")


def _add_show(actions: Any) -> None:
    show = actions.add_parser("show", help="plan, section and sketch of a venue, and what looks wrong")
    show.add_argument("venue", metavar="VENUE", help="venue file (venue/1)")
    show.add_argument("hangs", metavar="HANG", nargs="*", help="hang files (hang/1)")
    add_files(show)
    show.add_argument("--json", action="store_true", help="print the tables for programs")
    show.set_defaults(module="venue_show")


def add_new(commands: Any) -> None:
    """`evenhang new`."""
    new = add_command(
        commands,
        "new",
        "a file to start from, with comments",
        "Print a file to start from, or write it where there is none; its numbers are invented.",
        _NEW_EXAMPLE,
    )
    new.add_argument("kind", metavar="KIND", choices=STARTERS, help=", ".join(STARTERS))
    new.add_argument("--out", metavar="FILE", help="write it to this new file, in place of printing it")
    new.set_defaults(module="new")


def add_schema(commands: Any) -> None:
    """`evenhang schema`."""
    schema = add_command(
        commands,
        "schema",
        "JSON Schema of a kind of file, for editors",
        "Print the JSON Schema of a kind of file, so that editors complete and check its keys.",
        "example:\n  evenhang schema hang > hang.schema.json",
    )
    schema.add_argument("kind", metavar="KIND", nargs="?", help="kind of file; without it, all kinds are listed")
    schema.set_defaults(module="schema")


def add_equipment(commands: Any) -> None:
    """`evenhang equipment` with list and show."""
    equipment = add_command(
        commands,
        "equipment",
        "what equipment there is, its data, and what they leave open",
        "List the equipment that commands know, or show all data of one item.",
        _EQUIPMENT_EXAMPLE,
    )
    actions = equipment.add_subparsers(dest="action", metavar="ACTION", required=True)
    listed = actions.add_parser("list", help="table of all equipment: name, kind, mass, source")
    listed.add_argument("--kind", metavar="KIND", help="of this kind alone, such as enclosure")
    listed.set_defaults(module="equipment_list")
    shown = actions.add_parser("show", help="all data of one item, and what cannot be judged without more")
    shown.add_argument("name", metavar="NAME", help="as hang and show files give it")
    shown.set_defaults(module="equipment_show")
    for action in (listed, shown):
        add_files(action, out=False)
        action.add_argument("--json", action="store_true", help="print it for programs")


def add_page(commands: Any) -> None:
    """`evenhang page`."""
    page = add_command(
        commands,
        "page",
        "move it and see it: one local page in the browser",
        "Open a page in the browser, on this machine alone, that shows what a hang does while it is moved.",
        _PAGE_EXAMPLE,
    )
    add_hang(page)
    add_files(page, judges=True, out=False, figures=False)
    cells = "cell size, m (default: 1, or what leaves 6,000 positions)"
    page.add_argument("--grid", metavar="M", type=number(0.1, 20.0), help=cells)
    page.add_argument("--port", metavar="N", type=port, default=0, help="port (default: a free one)")
    page.add_argument("--no-browser", action="store_true", help="print the address and open nothing")
    page.set_defaults(module="page.command")


ALL = (
    *(add_predict, add_check, add_design, add_report, add_compare, add_tour, add_pack, add_unpack, add_venue, add_page),
    *(add_new, add_schema, add_equipment),
)
