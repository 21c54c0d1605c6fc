"""Two set-ups of the log laid over each other: what the change did, in words, as a picture and as a film."""

import re
from collections.abc import Sequence
from pathlib import Path

from rig.base.errors import InputError
from rig.base.plain_json import Json
from rig.jobs.series.change import compare_setups
from rig.log.store import BenchLog
from rig.lookups.aside import standing
from rig.lookups.sources import MissingSourceError, cards_of, parents_of
from rig.page.bench.bench import Bench
from rig.page.bench.jobs import Job
from rig.records.pushing import COMPARISON, PUSH
from rig.report.words.change_words import change_lines, write_change

STEM = "change"
"""Of the files: the newest answer only is kept as picture and film; the log keeps every one in figures."""


COLUMN = re.compile(r"\s{3,}")
"""Between the columns of a terminal."""


class Changes:
    """The question of a change, asked on the page."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self.folder = bench.folder / "page" / "change"
        self.newest: Json | None = None
        bench.broadcast.publish("change", {"lines": []})

    def compare(self, a: int, b: int) -> int:
        """What the change from the set-up of one comparison to that of another did: all pushes of both count.

        a, b: numbers of comparisons in the log. Returns the job's number.
        """

        def do(job: Job) -> str:
            job.say("Comparing all pushes of both set-ups")
            with self._bench.log() as log:
                one, two = (self._alike(number, log) for number in (a, b))
                if set(one) & set(two):
                    raise InputError(
                        "both are pushes of one set-up",
                        where=f"records {a} and {b}",
                        remedy="Choose pushes of two different set-ups",
                    )
                try:
                    cards = [cards_of(log.get(str(number)), log) for number in (a, b)]
                except MissingSourceError as error:
                    raise InputError(str(error), where="log", remedy="Choose other pushes") from error
                found = compare_setups(cards[0], cards[1], log, a_records=one, b_records=two, progress=job.progress)
                job.say("Drawing and filming both")
                files = write_change(self.folder, found, log, stem=STEM, progress=job.progress)
            lines = [*found.remarks, *(COLUMN.sub("; ", line) for line in change_lines(found) if line)]
            number = found.record.number
            shown: Json = {
                "record": number,
                "lines": lines,
                "why": files.why,
                "picture": f"/api/change.png?record={number}",
            }
            if files.film is not None and files.words is not None:
                shown |= {
                    "film": f"/api/change.webm?record={number}",
                    "words": files.words.read_text(encoding="utf-8"),
                }
            self.newest = shown
            self._bench.broadcast.publish("change", shown)
            return found.record.result.sentences[0]

        return self._bench.work.start("change", do)

    def file(self, ending: str) -> Path | None:
        """Picture (.png) or film (.webm) of the newest answer, None where there is none."""
        path = self.folder / f"{STEM}{ending}"
        return path if path.is_file() else None

    @staticmethod
    def _alike(number: int, log: BenchLog) -> Sequence[int]:
        """Numbers of all filmed comparisons made with the very cards of this one."""
        chosen = log.get(str(number))
        if not COMPARISON.holds(chosen):
            raise InputError("this is no push", where=f"record {number}", remedy="Choose one of the list")
        alike = [one for one in standing(log, COMPARISON) if one.cards == chosen.cards]
        return [one.number for one in alike if parents_of(one, log).of(PUSH) is not None]
