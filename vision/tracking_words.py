"""The quality of a track in words: what was seen, what was not, what would make it better."""

from vision.frames import ClipReport
from vision.tracking_pass import Follower
from vision.tracking_solve import Solved
from vision.types import Camera, CarMarkers, ClipTrack, FloorLayout


def describe(track: ClipTrack, solved: Solved, report: ClipReport, follower: Follower, left_out: dict[str, int],
             camera: Camera | None, floor: FloorLayout, car: CarMarkers) -> tuple[list[str], list[str]]:
    """Notes and warnings for people."""
    notes = [f"{len(track.time)} of {report.frames} frames could be vouched for"]
    warnings: list[str] = []
    return notes, warnings
