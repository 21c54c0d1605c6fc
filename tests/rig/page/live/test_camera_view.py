"""The picture of a push on its way to the page: the next one as soon as it is there, what is said only with its own.

Truth: the pictures that were shown, by their numbers and their colours.
"""

import asyncio
import threading
import time

import cv2
import numpy as np

from rig.jobs.pushing.live_push import LATE_S, LivePicture, LivePushState
from rig.page.live.broadcast import Broadcast
from rig.page.live.camera_view import CameraView, ShownPicture


def pushed(number: int, *, ago: float = 0.0) -> LivePicture:
    """A picture of a push whose grey tells its number."""
    grey = np.full((36, 64, 3), 40 + 10 * number, np.uint8)
    return LivePicture(
        picture=grey, number=number, time=time.monotonic() - ago, state=LivePushState.KEEP_PUSHING, pose=None
    )


def number_seen(shown: ShownPicture | None) -> int:
    """The number that the packed picture shows."""
    assert shown is not None
    grey = cv2.imdecode(np.frombuffer(shown.jpeg, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert grey is not None
    return round((float(grey.mean()) - 40) / 10)


def test_who_waits_for_the_next_picture_of_a_push_gets_that_one() -> None:
    view = CameraView(Broadcast())
    view.take(np.full((36, 64, 3), 250, np.uint8))
    view.show(pushed(4))

    async def asked() -> tuple[ShownPicture | None, ShownPicture | None]:
        first = await view.next(3)
        waiting = asyncio.create_task(view.next(4))
        await asyncio.sleep(0)  # it waits by now
        other = threading.Thread(target=view.show, args=(pushed(5),))
        other.start()
        second = await waiting
        other.join()
        return first, second

    first, second = asyncio.run(asked())
    assert (number_seen(first), first.number if first else None) == (4, 4)
    assert (number_seen(second), second.number if second else None) == (5, 5)
    assert second is not None
    assert second.live == {"state": "keep_pushing", "words": "Keep pushing."}


def test_where_none_comes_the_old_one_is_told_as_such_and_a_stale_one_is_the_cameras() -> None:
    view = CameraView(Broadcast())
    view.take(np.full((36, 64, 3), 250, np.uint8))
    view.show(pushed(7))
    again = asyncio.run(view.next(7))
    assert again is not None
    assert again.number == 7  # the page knows it already
    view.show(pushed(8, ago=2 * LATE_S))
    plain = asyncio.run(view.next(7))
    assert plain is not None
    assert (plain.number, plain.live) == (-1, None)
    assert number_seen(plain) == 21
