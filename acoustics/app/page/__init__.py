"""`evenhang page`: one local page that shows what `acoustics` and `rigging` return, and holds none of it."""
