"""The bench card: what may stand on it, with units, ranges, defaults and meaning."""

from typing import Annotated, Literal

from msgspec import Meta

from analysis.base.wheel_names import WHEEL_KEYS, WheelKey
from rig.cards.keys.kinds_of_key import (
    UNMEASURED_BAR_MM_U,
    BarU,
    CardId,
    Section,
    bar_length,
    number,
    text,
    uncertainty_of,
)


class Pads(Section, frozen=True):
    """The four scale pads."""

    port: Annotated[str, text("device name or pyserial URL of the pads; 'virtual' for the virtual bench")] = ""
    ports: Annotated[
        tuple[str, str, str, str] | None, Meta(description="four ports with one pad each, instead of one port")
    ] = None
    baud: Annotated[int, Meta(description="baud rate", ge=300, le=4_000_000)] = 115_200
    wheels: Annotated[
        tuple[WheelKey, WheelKey, WheelKey, WheelKey],
        Meta(description="the wheel that stands on pad 1, 2, 3, 4"),
    ] = WHEEL_KEYS
    capacity_g: Annotated[float, number("largest load of one pad", gt=0, le=200_000)] = 2000.0
    level_mm_u: Annotated[float, uncertainty_of("one pad's height against the others")] = 0.3
    line_pattern: Annotated[str, text("named-field pattern of another line format; empty: our own protocol")] = ""
    unit: Annotated[
        Literal["counts", "g", "kg", "oz", "lb"],
        Meta(description="what the numbers of a line pattern are; scales that show a weight need no check masses"),
    ] = "counts"
    decimal_mark: Annotated[
        Literal["point", "comma"], Meta(description="what stands before the decimals of a line pattern's numbers")
    ] = "point"
    pad_names: Annotated[
        tuple[str, str, str, str], Meta(description="what stands at <pad> of a line pattern for pad 1, 2, 3, 4")
    ] = ("1", "2", "3", "4")
    reseat_g: Annotated[
        float,
        number(
            "scatter of one corner between placings, until measured by repeats (3 to 10 g, common practice)",
            ge=0,
            le=1000,
        ),
    ] = 4.0


class MarkerOnFloor(Section, frozen=True):
    """One floor marker, measured by hand."""

    id: Annotated[int, Meta(description="number printed under the marker", ge=0, le=586)]
    size_mm: Annotated[float, number("side of its black square, as designed", gt=4, le=400)]
    x_mm: Annotated[float, number("its middle, floor axes", ge=-10_000, le=10_000)]
    y_mm: Annotated[float, number("its middle, floor axes", ge=-10_000, le=10_000)]
    turn_deg: Annotated[float, number("turned anticlockwise", ge=-360, le=360)] = 0.0
    sheet: Annotated[str, text("page it was printed on")] = ""


class Floor(Section, frozen=True):
    """The printed floor sheets."""

    paper: Annotated[Literal["A4", "Letter"], Meta(description="paper of the printed sheets")] = "A4"
    bar_mm: Annotated[float, bar_length("the floor sheets")] = 100.0
    bar_mm_u: BarU = UNMEASURED_BAR_MM_U
    place_mm_u: Annotated[float, uncertainty_of("each marker's place on the floor")] = 0.5
    learn_layout: Annotated[
        bool, Meta(description="true: sheets laid down by eye, their places are learned from the clip")
    ] = False
    dictionary: Annotated[str, text("marker family")] = "DICT_APRILTAG_36h11"
    markers: Annotated[list[MarkerOnFloor], Meta(description="only for a floor of your own")] = []


class Lens(Section, frozen=True, kw_only=True):
    """A lens that is known from elsewhere: pinhole and Brown-Conrady, as OpenCV writes them."""

    width_px: Annotated[int, Meta(description="picture width that these numbers belong to", ge=160, le=8192)]
    height_px: Annotated[int, Meta(description="picture height that they belong to", ge=120, le=8192)]
    fx_px: Annotated[float, number("focal length along the picture's width", gt=50, le=200_000)]
    fx_px_u: Annotated[float, uncertainty_of("fx; left out: 0.3 % of it")] | None = None
    fy_px: Annotated[float, number("focal length along its height", gt=50, le=200_000)]
    fy_px_u: Annotated[float, uncertainty_of("fy; left out: 0.3 % of it")] | None = None
    cx_px: Annotated[float, number("principal point from the left, centre of the first pixel 0", ge=0, le=8192)]
    cx_px_u: Annotated[float, uncertainty_of("cx; left out: 0.3 % of the width")] | None = None
    cy_px: Annotated[float, number("principal point from the top", ge=0, le=8192)]
    cy_px_u: Annotated[float, uncertainty_of("cy; left out: 0.3 % of the width")] | None = None
    k1: Annotated[float, number("first radial term", ge=-5, le=5)] = 0.0
    k1_u: Annotated[float, uncertainty_of("k1")] = 0.01
    k2: Annotated[float, number("second radial term", ge=-50, le=50)] = 0.0
    k2_u: Annotated[float, uncertainty_of("k2")] = 0.0
    p1: Annotated[float, number("first tangential term", ge=-1, le=1)] = 0.0
    p1_u: Annotated[float, uncertainty_of("p1")] = 0.0005
    p2: Annotated[float, number("second tangential term", ge=-1, le=1)] = 0.0
    p2_u: Annotated[float, uncertainty_of("p2")] = 0.0005
    k3: Annotated[float, number("third radial term", ge=-500, le=500)] = 0.0
    k3_u: Annotated[float, uncertainty_of("k3")] = 0.0


class CameraSection(Section, frozen=True):
    """The camera."""

    device: Annotated[str, text("camera number or path")] = "0"
    calibration: Annotated[
        str, text("name of a stored camera calibration; empty: estimated from the floor markers")
    ] = ""
    width_px: Annotated[int, Meta(description="picture width asked for", ge=160, le=8192)] = 1280
    height_px: Annotated[int, Meta(description="picture height asked for", ge=120, le=8192)] = 720
    frames_per_s: Annotated[float, number("frame rate asked for", ge=1, le=1000)] = 30.0
    readout_ms: (
        Annotated[
            float,
            number(
                "time to read a picture, first row to last (rolling shutter); 0: all rows at once; left out: unknown, "
                "any time up to a frame's interval",
                ge=0,
                le=200,
            ),
        ]
        | None
    ) = None
    lens: Annotated[
        Lens | None, Meta(description="only when the lens is known from elsewhere; calibration is then left empty")
    ] = None


class WornMarker(Section, frozen=True, kw_only=True):
    """A marker worn on the pushing finger; printed by new sheets --finger. It shows where the finger pushes."""

    id: Annotated[int, Meta(description="number printed under the marker", ge=0, le=586)] = 20
    size_mm: Annotated[float, number("side of its black square, as designed", gt=4, le=400)] = 30.0
    bar_mm: Annotated[float, bar_length("its sheet")] = 100.0
    bar_mm_u: BarU = UNMEASURED_BAR_MM_U
    tip_ahead_mm: Annotated[
        float, number("from the marker's middle to the fingertip, along its arrow", ge=-200, le=500)
    ]
    tip_ahead_mm_u: Annotated[float, uncertainty_of("that length")] = 1.0
    tip_left_mm: Annotated[float, number("the fingertip left of the arrow's line", ge=-200, le=200)] = 0.0
    tip_left_mm_u: Annotated[float, uncertainty_of("that offset")] = 1.0
    tip_below_mm: Annotated[float, number("the fingertip below the marker", ge=-200, le=500)]
    tip_below_mm_u: Annotated[float, uncertainty_of("that height")] = 2.0
    tilt_deg_u: Annotated[float, uncertainty_of("how level the marker is worn, each way")] = 10.0


class ForceCell(Section, frozen=True, kw_only=True):
    """A load cell on the pushing finger, on a board with that channel; pads calibrate --finger writes it."""

    counts_per_n: Annotated[
        float, number("counts that one newton of push adds; negative where they fall", ge=-1e7, le=1e7)
    ]
    counts_per_n_u: Annotated[float, number("standard uncertainty of the counts per newton", ge=0, le=1e6)]
    zero_counts: Annotated[float, number("counts with nothing touching the tip", ge=-1e7, le=1e7)] | None = None
    board: Annotated[str, text("how the board with this cell calls itself; empty: not kept")] = ""
    port: Annotated[str, text("its port, where it is not the pads' own; empty: the pads' port")] = ""


class Place(Section, frozen=True):
    """Where the bench stands, for pads calibrated elsewhere."""

    latitude_deg: Annotated[float, number("latitude", ge=-90, le=90)] | None = None
    height_m: Annotated[float, number("height above sea level", ge=-500, le=9000)] = 0.0


class TiltBoard(Section, frozen=True):
    """The board that tilts the pads, for load transfer measured at rest."""

    length_mm: Annotated[float, number("from its lower edge to where its height is taken", ge=100, le=5000)] = 600.0
    length_mm_u: Annotated[float, uncertainty_of("that length")] = 1.0
    height_mm_u: Annotated[float, uncertainty_of("the height of the raised end")] = 0.7
    side_force_pct_u: Annotated[float, uncertainty_of("what a pad reads of a side force on it, per cent")] = 0.5
    twist_mm_u: Annotated[float, uncertainty_of("one corner's height, as the board twists when it is tilted")] = 0.05
    twist_load_mm_u: Annotated[float, uncertainty_of("the same under the car's load, at 15 degrees")] = 0.015


class BenchCard(Section, frozen=True):
    """Written once: pads, floor sheets, camera."""

    card: Literal["bench"]
    name: Annotated[str, text("name of the bench")]
    id: CardId = ""
    pads: Pads = Pads()
    floor: Floor = Floor()
    camera: CameraSection = CameraSection()
    finger: Annotated[WornMarker | None, Meta(description="only when a marker is worn on the pushing finger")] = None
    force: Annotated[ForceCell | None, Meta(description="only with a load cell on the pushing finger")] = None
    place: Place = Place()
    tilt: TiltBoard = TiltBoard()
    notes: Annotated[str, text("anything worth remembering")] = ""
