"""Which software computed a record."""

from importlib.metadata import PackageNotFoundError, version

try:
    SOFTWARE = f"pivotbench {version('pivotbench')}"
except PackageNotFoundError:  # run from a folder that was never installed
    SOFTWARE = "pivotbench (not installed)"
