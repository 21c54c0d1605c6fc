"""Columns of a table by their names, and the outlines of a push in the car's own axes."""

from pathlib import Path

import numpy as np

from rig.jobs.moving.table import columns
from rig.jobs.pushing.picture import swept_poses


def test_columns_come_in_the_order_asked_for_whatever_their_order_in_the_file(tmp_path: Path) -> None:
    table = tmp_path / "swing.csv"
    table.write_text("b,note,c,a\n1,9,2,3\n4,9,5,6\n", encoding="utf-8")
    assert columns(table, ["a", "b", "c"]).tolist() == [[3.0, 1.0, 2.0], [6.0, 4.0, 5.0]]  # read off by eye


def test_outlines_are_in_the_axes_of_the_car_at_its_start() -> None:
    """A car that faces floor y drives 0.3 m along floor y and 0.1 m along floor x: ahead, and to its right."""
    time = np.array([0.0, 1.0, 3.0])
    start = np.array([1.0, 2.0, np.pi / 2])
    pose = np.stack([start, start, start + np.array([0.1, 0.3, -0.2])])
    swept = swept_poses(time, pose, start=1.0, end=3.0, start_pose=start)
    share = np.arange(1, len(swept) + 1) / len(swept)
    np.testing.assert_allclose(swept, share[:, None] * [0.3, -0.1, -0.2], rtol=0, atol=1e-12)
