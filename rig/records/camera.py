"""Records of the seeing side: camera, floor layout, place of the plate, markers learned on the car."""

from rig.records.content import Content, Empty, Matrix, Numbers, Pair, Words
from rig.records.record import Kind, Record


class CameraRow(Content, frozen=True, kw_only=True):
    """A camera's numbers. matrix: (3, 3) px. distortion: OpenCV's order. u: of the parameters. known: calibrated."""

    matrix: Matrix
    distortion: Numbers
    size: tuple[int, int]
    known: bool
    u: Numbers


class BoardRow(Content, frozen=True, kw_only=True):
    """The board that was filmed. columns, rows: squares."""

    columns: int
    rows: int
    square_m: float
    marker_m: float
    dictionary: str


class CameraInputs(Content, frozen=True, kw_only=True):
    """Beside the pictures, which are the record's files."""

    board: BoardRow


class CameraResult(Content, frozen=True, kw_only=True):
    """rms_px: left over. views: names of the pictures used. left_out: name -> why."""

    camera: CameraRow
    rms_px: float
    views: Words
    left_out: dict[str, str]
    warnings: Words


class MarkerRow(Content, frozen=True, kw_only=True):
    """A marker as it stands on its card. size_mm: as designed. sheet: None on the car."""

    id: int
    size_mm: float
    x_mm: float
    y_mm: float
    turn_deg: float
    sheet: str | None = None


class FloorResult(Content, frozen=True, kw_only=True):
    """Where the sheets lie. place_u_mm: standard, of each. noise_px: of a corner. views: pictures used."""

    markers: tuple[MarkerRow, ...]
    place_u_mm: float
    noise_px: float
    views: int


class PlateInputs(Content, frozen=True, kw_only=True):
    """pins_mm: ahead of the rear axle, left of the middle."""

    pins_mm: tuple[Pair, ...]


class PlateResult(Content, frozen=True, kw_only=True):
    """How the plate sits off its place on the card: shift along and across, turn, and their standard uncertainties."""

    shift_mm: Pair
    turn_deg: float
    place_mm_u: float
    turn_deg_u: float
    pin_distance_error_mm: float | None = None
    warnings: Words
    markers: tuple[MarkerRow, ...]


class CarMarkersResult(Content, frozen=True, kw_only=True):
    """How the markers on the car lie to each other. place_u_mm, turn_u_deg: standard, of each.

    turned_deg: how far the car was turned.  size_error_pct: how much larger the markers appear than the card says.
    """

    markers: tuple[MarkerRow, ...]
    place_u_mm: Numbers
    turn_u_deg: Numbers
    turned_deg: float
    pictures: int
    scatter_mm: float
    size_error_pct: float
    size_error_u_pct: float
    warnings: Words


CAMERA_CALIBRATION = Kind("camera", CameraInputs, CameraResult)
FLOOR_LAYOUT = Kind("floor layout", Empty, FloorResult)
PLATE_PLACE = Kind("plate place", PlateInputs, PlateResult)
CAR_MARKERS = Kind("car markers", Empty, CarMarkersResult)

CameraRecord = Record[CameraInputs, CameraResult]
