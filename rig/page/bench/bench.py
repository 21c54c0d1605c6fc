"""The bench behind the page: its state, the work at the pads and the pushes."""

from pathlib import Path

from rig.page.bench.pad_work import PadWork
from rig.page.bench.push_work import PushWork
from rig.page.bench.region import RegionView
from rig.page.bench.replay import ReplayView
from rig.page.bench.state import BenchState


class Bench(BenchState):
    """One bench. on_pads, pushes: what is done there.  region: where the balance goes on the move.

    replay: the newest push shown again.
    """

    def __init__(self, folder: Path, *, time_factor: float = 6.0, seed: int = 0) -> None:
        super().__init__(folder, time_factor=time_factor, seed=seed)
        self.on_pads, self.region = PadWork(self), RegionView(self)
        self.pushes = PushWork(self, self.on_pads.virtual_weighed)
        self.replay = ReplayView(self)
