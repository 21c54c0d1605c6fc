"""Several batches of cars and pushes solved in one go: each call of the solver has a price of its own."""

from collections.abc import Sequence
from dataclasses import fields

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.prediction_inputs import Drawn
from analysis.prediction_slide import slide
from analysis.sliding.contacts import Contacts
from analysis.sliding.finger import Finger, LoadTransfer


def join(parts: Sequence[Drawn]) -> Drawn:
    """One batch from several with the same kind of finger and path."""

    def rows(part: Drawn, value: object, *shape: int) -> FloatArray:
        return np.broadcast_to(np.asarray(value, dtype=np.float64), (part.count, *shape))

    contacts = Contacts(
        place=np.concatenate([rows(one, one.contacts.place, 4, 2) for one in parts]),
        load=np.concatenate([rows(one, one.contacts.load, 4) for one in parts]),
        grip=np.concatenate([rows(one, one.contacts.grip, 4) for one in parts]),
        drag=np.concatenate([rows(one, one.contacts.drag, 4) for one in parts]),
        heading=np.concatenate([rows(one, one.contacts.heading, 4) for one in parts]),
        law=np.concatenate([np.broadcast_to(np.asarray(one.contacts.law), (one.count, 4)) for one in parts]),
        coupling=None
        if all(one.contacts.coupling is None for one in parts)
        else np.concatenate(
            [
                np.broadcast_to(
                    np.zeros(4, dtype=int) if one.contacts.coupling is None else np.asarray(one.contacts.coupling),
                    (one.count, 4),
                )
                for one in parts
            ]
        ),
    )
    finger = Finger(
        kind=parts[0].finger.kind,
        place=np.concatenate([rows(one, one.finger.place, 2) for one in parts]),
        direction=np.concatenate([rows(one, one.finger.direction, 2) for one in parts]),
        friction=np.concatenate([rows(one, one.finger.friction) for one in parts]),
        height=np.concatenate([rows(one, one.finger.height) for one in parts]),
    )
    transfer = LoadTransfer(
        **{
            one.name: np.concatenate([rows(part, getattr(part.transfer, one.name)) for part in parts])
            for one in fields(LoadTransfer)
        }
    )
    return Drawn(
        contacts=contacts,
        finger=finger,
        transfer=transfer,
        path=parts[0].path,
        count=sum(one.count for one in parts),
    )


def kappa_together(parts: Sequence[Drawn], wheelbase: float, *, turns: Sequence[float]) -> list[FloatArray]:
    """kappa (count,) of each part, 1/m; parts that can share a call of the solver do. turns: rad, one a part."""
    result: list[FloatArray] = [np.empty(0)] * len(parts)
    groups: dict[tuple[str, str, float], list[int]] = {}
    for i, one in enumerate(parts):
        groups.setdefault((one.finger.kind, one.path, turns[i]), []).append(i)
    for (_, _, turn), members in groups.items():
        kappa = slide(join([parts[i] for i in members]), wheelbase, turn=turn).kappa
        ends = np.cumsum([parts[i].count for i in members])[:-1]
        for i, piece in zip(members, np.split(kappa, ends), strict=True):
            result[i] = piece
    return result
