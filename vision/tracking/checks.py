"""What makes a clip, its cards or single frames unusable, found before anybody trusts a number."""

from pathlib import Path

import numpy as np

from vision.base.errors import InputError
from vision.base.types import BoolArray, CarMarkers, FloatArray, FloorLayout, GreyImage, IntArray
from vision.camera.model import project
from vision.fitting.solve import LEAST_CORNERS, Solved
from vision.markers.detection import Detector, cell_pattern, dictionaries_in
from vision.tracking.follow import Follower
from vision.tracking.frozen import FROZEN, SENT_TWICE, TURN_ARM, frozen_pictures
from vision.tracking.sightings import Sightings

LEAST_FLOOR = 3
LOOKED_AT = (0, 20, 60)  # pictures in which markers are looked for when none could be measured
MOST_INK = 1.3  # px; usual is 0.35, a badly focused picture reaches 0.8
SIZE_ERROR = 0.035  # relative; less is warned about
TWIN_FRAMES = 2
LEAST_SIDE = 18.0  # px of a marker: below this it is lost now and then (rendered pictures)
WORST_NOISE = 8.0  # times the usual residual
LEAST_REPEATED = 0.1  # px of way in a picture: a copy of a car that rests shows where it is
MOST_BLUR = 9.0  # px; edge fits hold up to about 7


def check_cards(floor: FloorLayout, car: CarMarkers) -> None:
    """Raise InputError for layouts with which nothing can be tracked."""
    for what, markers, where in (
        ("floor", floor.markers, "floor markers"),
        ("car", car.markers, "car markers"),
    ):
        if not markers:
            raise InputError(f"the card names no {what} marker", where=where, remedy="Name the markers on the card")
        for marker in markers:
            if not (np.isfinite([marker.x, marker.y, marker.turn]).all() and 0.002 < marker.size < 2.0):
                raise InputError(
                    f"marker {marker.id} has no usable place or size",
                    where=where,
                    remedy="Give its centre and the side of its black square in metres",
                )
    same = floor.dictionary == car.dictionary
    for layout in (floor, car):
        ids = [marker.id for marker in layout.markers]
        if len(set(ids)) != len(ids):
            raise InputError("an id appears twice", where="marker ids", remedy="Give every marker its own id")
        for marker_id in ids:
            cell_pattern(layout.dictionary, marker_id)
    both = {m.id for m in floor.markers} & {m.id for m in car.markers}
    if same and both:
        raise InputError(
            f"markers {sorted(both)} are named on the floor and on the car",
            where="marker ids",
            remedy="Use different ids for the floor and the car",
        )
    if len(floor.markers) < LEAST_FLOOR:
        raise InputError(
            f"the card names {len(floor.markers)} floor markers",
            where="floor markers",
            remedy=f"Lay at least {LEAST_FLOOR}, better 6, around the car",
        )
    if car.height < 0:
        raise InputError(
            "the car's markers cannot be below the floor",
            where="marker height",
            remedy="Give the height of the marker plate above the floor",
        )


def check_sightings(path: Path, follower: Follower, floor: FloorLayout, car: CarMarkers) -> None:
    """Raise InputError when the clip does not show what the cards say, with the likely cause."""
    sightings = follower.sightings
    where = str(path)
    if sightings.frames == 0:
        raise InputError("no picture was read", where=where, remedy="Film the push again")
    known = sightings.column("known")
    often = known.sum(0)
    count = len(floor.markers)
    on_floor, on_car = often[:count], often[count:]
    twins = {m: n for m, n in follower.twins.items() if n >= TWIN_FRAMES}
    if twins:
        which = sorted(twins)
        whose = "car" if set(which) & {m.id for m in car.markers} else "floor"
        raise InputError(
            f"marker {which[0]} is in the picture twice: two {whose}s or two copies of a sheet"
            if whose == "car"
            else f"floor marker {which[0]} is in the picture twice",
            where=where,
            remedy="Leave only one car and one copy of every sheet in the picture",
        )
    if not often.any():
        raise _nothing_seen(path, floor, car)
    if not on_floor.any():
        raise InputError(
            "the car's markers were seen but no floor marker",
            where=where,
            remedy="Lay the floor sheets around the car, face up and flat, and keep them in the picture",
        )
    if not on_car.any():
        side = car_side_px(sightings.column("corner")[:, :count], floor, car)
        if side < LEAST_SIDE:
            raise InputError(
                f"only floor markers were seen: the car's would be about {side:.0f} pixels wide, too small to be read",
                where=where,
                remedy="Film from nearer, or at a higher resolution",
            )
        raise InputError(
            "only floor markers were seen, no marker of the car",
            where=where,
            remedy="Put the marker plate on the car, keep it in the picture, and check the ids, "
            "dictionary and sharpness",
        )
    seen = int((on_floor > 0).sum())
    if seen < LEAST_FLOOR:
        raise InputError(
            f"only {seen} of {count} floor markers were seen",
            where=where,
            remedy=f"Keep at least {LEAST_FLOOR}, better all, floor markers in the picture",
        )


def car_side_px(corner: FloatArray, floor: FloorLayout, car: CarMarkers) -> float:
    """px, side of the car's smallest marker, seen as large as the floor's are. corner: (n, m, 4, 2) px, theirs."""
    side = np.linalg.norm(np.roll(corner, -1, axis=2) - corner, axis=-1).mean(2)
    per_m = side / np.array([marker.size for marker in floor.markers])
    seen = per_m[np.isfinite(per_m)]
    return float(np.median(seen)) * min(marker.size for marker in car.markers) if seen.size else np.inf


def _nothing_seen(path: Path, floor: FloorLayout, car: CarMarkers) -> InputError:
    """No marker of the cards could be used: look what the clip holds before saying why."""
    from vision.clip.frames import FrameReader

    darkest, brightest = 255.0, 0.0
    pictures: list[GreyImage] = []
    with FrameReader(path, threads=1) as reader:
        for frame in reader:
            if frame.index in LOOKED_AT:
                pictures.append(frame.grey)
                low, high = np.percentile(frame.grey, (2, 98))
                darkest, brightest = min(darkest, float(low)), max(brightest, float(high))
            if frame.index >= LOOKED_AT[-1]:
                break
    wanted = sorted({floor.dictionary, car.dictionary})
    named = {marker.id for marker in (*floor.markers, *car.markers)}
    finders = [Detector(name) for name in wanted]
    own = _of_these(named, finders, pictures)
    turned = _of_these(named, finders, [np.ascontiguousarray(grey[:, ::-1]) for grey in pictures])
    if len(turned) >= 2 and len(turned) > len(own):
        return InputError(
            "the clip is mirrored, left for right: its markers can only be read in a mirror",
            where=str(path),
            remedy="Film with the back camera, or switch mirroring off; a mirrored push would be one to the other side",
        )
    if own:
        return InputError(
            f"markers of the cards are in the clip ({', '.join(map(str, own))}), but none is sharp and bright enough "
            f"to be measured (the picture's greys run from {darkest:.0f} to {brightest:.0f} of 255)",
            where=str(path),
            remedy="More light, a steady camera in focus, and nearer: a marker's side wants 40 pixels",
        )
    votes: dict[str, set[int]] = {}
    for grey in pictures:
        for name, ids in dictionaries_in(grey)[:3]:
            votes.setdefault(name, set()).update(ids)
    votes = {name: numbers for name, numbers in votes.items() if name in wanted or len(numbers) >= 2}
    if votes:
        name = max(votes, key=lambda n: (n in wanted, len(votes[n])))
        numbers = ", ".join(str(i) for i in sorted(votes[name]))
        if name in wanted:
            return InputError(
                f"the markers in the clip ({numbers}) are not the ones on the cards",
                where=str(path),
                remedy="Correct the ids on the cards or film the sheets that the cards name",
            )
        return InputError(
            f"no marker of {' or '.join(wanted)} was seen, but markers of {name} were ({numbers})",
            where=str(path),
            remedy=f"Set the dictionary on the cards to {name} or print new sheets",
        )
    return InputError(
        f"no marker was seen in any picture (their greys run from {darkest:.0f} to {brightest:.0f} of 255)",
        where=str(path),
        remedy="Check that the sheets are in the picture, lit, sharp and at least 25 pixels wide",
    )


def _of_these(named: set[int], finders: list[Detector], pictures: list[GreyImage]) -> list[int]:
    """Which of the markers named are in some of the pictures."""
    return sorted(named & {number for finder in finders for grey in pictures for number in finder.find(grey).corner})


def check_scale(
    solved: Solved, floor: FloorLayout, car: CarMarkers, kept: IntArray, *, known: bool = True
) -> list[str]:
    """Sentences about sizes that disagree a little; InputError when they disagree so much that nothing can be right.

    A marker plate printed too large looks like one that lies higher, and the other way round: the six-degree fit's
    rise, over the camera's height, is the disagreement of the marker plate with the floor's. Floor markers that
    are larger or smaller than the card says, at the right places, come out as an impossible ink shift.
    kept: (k,), indices of the frames that count.  known: the camera is calibrated.
    """
    sentences: list[str] = []
    sizes = np.array([marker.size for marker in floor.markers])
    px_per_m = float(np.median(_side_px(solved))) / float(np.median(sizes))
    too_small = 2.0 * solved.fit.ink / (float(np.median(sizes)) * px_per_m)
    if abs(solved.fit.ink) > MOST_INK and abs(too_small) > 0.04:
        raise InputError(
            f"the floor markers look {100 * abs(too_small):.0f} % {'smaller' if too_small > 0 else 'larger'} "
            "than the card says for the places they lie in",
            where="floor marker size",
            remedy="Measure the side of a black square and the printed check bar, print at 100 %, and correct the card",
        )
    if not len(kept):
        return sentences
    eye = float(np.median(-np.einsum("vji,vj->vi", solved.fit.rotation, solved.fit.place)[:, 2]))
    rise = float(np.median(solved.rise[kept, 0]))
    rise_u = float(np.median(solved.rise[kept, 1])) * max(solved.corner_noise, 0.05)
    camera_u = float(np.median(solved.rise_u[kept]))
    away = max(eye - car.height, 0.05)
    expected = np.sqrt(car.height_u**2 + (away * np.hypot(car.scale_u, floor.scale_u)) ** 2 + camera_u**2 + rise_u**2)
    share = rise / away
    if abs(share) > SIZE_ERROR and abs(rise) > 4.0 * expected:
        raise InputError(
            f"the car's markers look {100 * abs(share):.0f} % {'larger' if share > 0 else 'smaller'} than "
            "the cards say, compared with the floor markers",
            where="printed size",
            remedy="Measure the check bar of both sheets and a black square of each, print at 100 %, and "
            "correct sizes and marker height on the cards"
            + (
                ""
                if known
                else "; where they are right, the picture is squeezed (pixels not square) or cropped, or the lens not "
                "ordinary: calibrate the camera as it films pushes"
            ),
        )
    if abs(rise) > 3.0 * expected and abs(rise) > 0.004:
        sentences.append(
            f"The car's markers seem {1000 * abs(rise):.0f} mm {'higher' if rise > 0 else 'lower'} (or "
            f"{100 * abs(share):.1f} % {'larger' if rise > 0 else 'smaller'}) than the cards say"
            + (
                ", with the floor sheets as they are found here: what comes next in line for these is then likelier."
                if solved.fit.causes
                else ": check the distance between the floor sheets, the printed bars and the marker height."
                + (
                    ""
                    if known
                    else " A soft picture, or a lens or picture that is not ordinary, does this, too: focus on the "
                    "car, calibrate the camera."
                )
            )
        )
    return sentences


def _side_px(solved: Solved) -> FloatArray:
    """(m,) usual side of the floor markers on the picture, from the fit."""
    fit = solved.fit
    pixel = project(fit.corner_place @ fit.rotation[0].T + fit.place[0], fit.intrinsics)
    return np.asarray(np.linalg.norm(np.roll(pixel, -1, axis=1) - pixel, axis=-1).mean(1), float)


def blur_of(time: FloatArray, solved: Solved, spread: FloatArray, floor_count: int) -> FloatArray:
    """(n,) px that the car moved during the exposure, from how much wider its edges are than at rest.

    A box of length b along a direction adds b²/12 to the second moment of an edge across that direction.
    What the car cannot have moved between two frames is not believed.
    time: (n,) s.  spread: (n,) px², second moments of the car's edges.
    """
    n = len(time)
    if n < 3:
        return np.zeros(n)
    wide = spread[:, floor_count:].astype(float)
    seen = np.isfinite(wide)
    size = np.where(seen, wide, 0.0).sum(1) / np.maximum(seen.sum(1), 1)
    size[~seen.any(1)] = np.nan
    rate = np.gradient(solved.pose, time, axis=0)
    pixels = np.hypot(rate[:, 0], rate[:, 1]) / solved.m_per_px * np.gradient(time)
    slow = pixels < 0.3
    known = np.isfinite(size)
    if not known.any():
        return np.zeros(n)
    still = np.median(size[slow & known]) if (slow & known).any() else size[known].min()
    blur = np.sqrt(np.maximum(12.0 * (size - still), 0.0))
    blur = np.where(slow | ~np.isfinite(blur), 0.0, np.minimum(blur, pixels))
    return blur


def vouch(
    time: FloatArray, solved: Solved, sightings: Sightings, blur: FloatArray, floor_count: int
) -> tuple[IntArray, dict[str, int]]:
    """Indices of the frames kept, and how many were left out for which reason.

    time: (n,) s.  blur: (n,) px.
    """
    known = sightings.column("known")[:, floor_count:]
    corner = sightings.column("corner")[:, floor_count:]
    seen = np.asarray(np.isfinite(corner).all((2, 3))).any(axis=1)
    reason = np.full(len(time), "", dtype=object)

    def drop(which: BoolArray, why: str) -> None:
        reason[which & (reason == "")] = why

    drop(~known.any(1), "the car's markers were not seen")
    drop(solved.floor_used < LEAST_CORNERS, "too few floor markers in the picture")
    drop(~seen | (solved.used < LEAST_CORNERS), "too few corners of the car's markers")
    good = reason == ""
    usual = np.median(solved.noise[good]) if good.any() else 1.0
    drop(solved.noise > max(WORST_NOISE * usual, 0.6), "the corners do not fit the marker plate")
    drop(np.asarray(blur > MOST_BLUR), "too much motion blur")
    drop(np.asarray(~np.isfinite(solved.pose).all(axis=1)), "no pose found")
    repeated = sightings.column("repeated")
    if repeated.any() and len(time) > 2:
        rate = np.abs(np.gradient(solved.pose, time, axis=0))
        way = (np.hypot(rate[:, 0], rate[:, 1]) + TURN_ARM * rate[:, 2]) * np.gradient(time)
        moved = way > max(3.0 * solved.corner_noise, LEAST_REPEATED) * solved.m_per_px
        drop(np.asarray(repeated, bool) & moved, SENT_TWICE)
    drop(frozen_pictures(time, np.where((reason == "")[:, None], solved.pose, np.nan), solved.m_per_px), FROZEN)
    reasons, counts = np.unique(reason[reason != ""].astype(str), return_counts=True)
    return np.flatnonzero(reason == ""), dict(zip(reasons.tolist(), counts.tolist(), strict=True))
