"""The table of all benchmarks: pairs what belongs together, and survives a script that fails."""

import json
from pathlib import Path

import pytest

from tests.benchmarks import all as everything


def test_figures_stand_beside_their_baseline_or_limit() -> None:
    rows = {
        row.figure: row
        for row in everything.rows_of(
            "write_errors",
            {"lost": 0, "noticed": 5, "time_s": 2.0, "baseline_time_s": 8.0, "baseline_plain_file": {"noticed": 3}},
        )
    }
    assert rows["lost"].beside == ("at most", "0", "held")
    assert rows["time_s"].beside == ("baseline_time_s", "8", "0.25")
    assert rows["noticed"].other == 3
    assert everything.rows_of("kills", {"lost": 2})[0].beside == ("at most", "0", "NOT HELD")
    assert everything.rows_of("tracking", {"times_simple_720p": 2.0})[0].beside == ("at least", "2.5", "NOT HELD")
    (share,) = everything.rows_of("pivot_statistics", {"coverage": 0.98})
    assert share.beside == ("at least, at most", "0.93, 0.97", "NOT HELD")
    assert everything.rows_of("mutation", {"score": 0.9, "modules": {"a": {"mutants": 3}}})[0].beside[2] == "held"
    assert len(everything.rows_of("mutation", {"score": 0.9, "modules": {"a": {"mutants": 3}}})) == 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("print('words'); print('{\"a\": 1}')", {"a": 1}),
        ("raise ValueError('broken')", "broken"),
        ("print('no JSON')", "code 0"),
        ("import time; time.sleep(60)", "took over"),
    ],
)
def test_a_script_that_fails_is_told_as_such(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str, said: object
) -> None:
    folder = tmp_path / "tests" / "benchmarks"
    folder.mkdir(parents=True)
    (folder / "one.py").write_text(text + '\n# __name__ == "__main__"\n')
    monkeypatch.setattr(everything, "HERE", folder)
    assert everything.scripts() == ["one"]
    told = everything.run_one("one", quick=True, limit_s=2.0)
    told.pop("seconds")
    if isinstance(said, str):
        assert said in told["failed"]
    else:
        assert told == said
    json.dumps(told)
