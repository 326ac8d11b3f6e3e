"""The sound field of hung columns: air, bands, directivity, listening positions, the complex sum."""

# An unrelated distribution on PyPI installs a package of this name: this mark tells ours from it.
EVENHANG = True
