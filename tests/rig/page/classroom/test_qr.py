"""A code as ISO/IEC 18004 has it: square, 17 + 4 v modules wide, a finder pattern in three corners, light around."""

import pytest

from rig.page.classroom.qr import qr_rows

FINDER = ["1111111", "1000001", "1011101", "1011101", "1011101", "1000001", "1111111"]


@pytest.mark.parametrize("text", ["http://10.0.0.9:8377/", "http://192.168.178.113:50123/class?code=048211"])
def test_a_code_is_whole_and_has_its_border(text: str) -> None:
    rows = qr_rows(text)
    size = len(rows) - 8
    assert {len(row) for row in rows} == {size + 8}
    assert size % 4 == 1
    assert size >= 21
    assert all(set(row) == {"0"} for row in (*rows[:4], *rows[-4:]))
    assert all(set(row[:4] + row[-4:]) == {"0"} for row in rows)
    inner = [row[4:-4] for row in rows[4:-4]]
    assert [row[:7] for row in inner[:7]] == FINDER
    assert [row[-7:] for row in inner[:7]] == FINDER
    assert [row[:7] for row in inner[-7:]] == FINDER
    assert [row[-7:] for row in inner[-7:]] != FINDER
