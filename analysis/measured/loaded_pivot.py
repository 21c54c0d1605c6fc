"""The measured pivot between the poses under load that a clip shows."""

from dataclasses import replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.pivot import LARGEST_KAPPA, PivotEstimate
from analysis.measured.loaded import LoadedTurn, loaded_poses
from analysis.measured.pose_track import PoseTrack
from analysis.measured.pushes import MeasuredPush
from analysis.measured.swing import measure_slide
from analysis.measured.wind_up import USUAL_WIND_UP, PosesUsed, wind_up_share
from analysis.statistics.headings import heading_doubt
from analysis.statistics.quantiles import NORMAL_95

METHODS = {
    PosesUsed.BETWEEN_LOADED: "swing between two loaded poses, after the tyres wound up and while the finger pushed",
    PosesUsed.REST_TO_LOADED: "swing from the averaged rest before the push to its loaded end",
}


def loaded_pivot(
    track: PoseTrack,
    push: MeasuredPush,
    loaded: LoadedTurn | None,
    *,
    station: float,
    wheelbase_u: float = 0.0,
    shared: FloatArray,
) -> MeasuredPush:
    """The push with its pivot between the poses of `loaded`, and with what the tyres' wind-up leaves unknown of it.

    track, wheelbase_u, shared: as `measure_pivot` took them.  loaded: as `loaded_turn` finds it; None where too few
    pictures show the push.  station: m ahead of the rear axle, of the touched place.
    The pivot stays one from rest to rest where the clip shows nothing better, or where that is surer in spite of the
    wind-up. `between_rests` of the answer is the estimate that came in: what turned, as anybody sees it.
    """
    rests = push.estimate
    way = push.travel_at(station - rests.wheelbase / 2.0)
    wound = USUAL_WIND_UP if loaded is None or not loaded.springback else loaded.springback
    share = wind_up_share(PosesUsed.REST_TO_REST, way=way, wound=wound)
    times = None
    best, pole, covariance = with_wind_up(rests, share), push.pole, push.pole_covariance
    if loaded is not None and loaded.poses in METHODS:
        start, end = loaded_poses(track, loaded)
        causes = [shared[:, list(frames)].mean(axis=1) for frames in loaded.frames]
        slide = measure_slide(
            start,
            end,
            wheelbase=rests.wheelbase,
            wheelbase_u=wheelbase_u,
            place_u=np.zeros(3),
            scale_u=0.0,
            shared=np.concatenate(causes, axis=1),
        )
        wound_up = loaded.poses.share if loaded.wind_up is None else loaded.wind_up
        under_load = with_wind_up(
            replace(
                rests,
                kappa=slide.kappa,
                kappa_u=slide.kappa_u,
                common_u=slide.common_u,
                interval=slide.interval,
                turned=slide.turned,
                method=METHODS[loaded.poses],
            ),
            wound_up,
        )
        if _spread(under_load) <= _spread(best):
            best, share, pole, covariance = under_load, wound_up, slide.pole, slide.pole_covariance
            first, last = ((float(track.time[one[0]]), float(track.time[one[-1]])) for one in loaded.frames)
            times = first, last
    if best.finding != "pivot":
        pole, covariance = None, None
    elif covariance is not None:
        covariance = covariance + np.diag([(share / best.kappa) ** 2, 0.0])
    return replace(
        push,
        estimate=best,
        between_rests=rests,
        wind_up=share,
        pivot_from=times,
        pole=pole,
        pole_covariance=covariance,
    )


def with_wind_up(estimate: PivotEstimate, share: float) -> PivotEstimate:
    """The estimate with one more standard uncertainty of its turn per travel, a share of that: the tyres' wind-up.

    It is the same for other pushes of this car at this place.
    """
    kappa, more = estimate.kappa, abs(share * estimate.kappa)
    low, high = estimate.interval
    if low <= high:
        ends = kappa - np.hypot(kappa - low, NORMAL_95 * more), kappa + np.hypot(high - kappa, NORMAL_95 * more)
    else:  # through infinity: the same for the pivot's place, 1 / kappa, which is ordinary there
        place, wide = 1.0 / kappa, NORMAL_95 * abs(share / kappa)
        below, above = place - np.hypot(place - 1.0 / high, wide), place + np.hypot(1.0 / low - place, wide)
        ends = min(1.0 / above, LARGEST_KAPPA), max(1.0 / below, -LARGEST_KAPPA)
    return replace(
        estimate,
        kappa_u=float(np.hypot(estimate.kappa_u, more)),
        common_u=float(np.hypot(estimate.common_u, more)),
        interval=(float(ends[0]), float(ends[1])),
    )


def _spread(estimate: PivotEstimate) -> float:
    """rad of the pivot's heading, in which one at the middle and one at infinity are ordinary places."""
    return sum(float(heading_doubt(estimate, side=side)) for side in (-1, 1))
