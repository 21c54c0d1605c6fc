"""Everything that the command line does is on the page or said where it is, in the job's own order.

Truth: the table of the first screen.
"""

import re
from importlib import resources

from rig.command.first_screen import FIRST_SCREEN


def test_the_page_names_all_twelve_in_their_order() -> None:
    page = (resources.files("rig.page") / "static" / "index.html").read_text(encoding="utf-8")
    told = page.split('<details id="commands">')[1].split("</details>")[0]
    entries = re.findall(r"<dt><code>pivotbench (\w+)[^<]*</code></dt><dd>(.+?)</dd>", told)
    assert [name for name, _ in entries] == list(FIRST_SCREEN)
    sections = {re.sub("<.*?>", "", title) for title in re.findall(r"<h[23][^>]*>(.*?)</h[23]>", page)}
    for name, where in entries:
        here = re.findall(r"under (?:“([^”]+)”|([A-Z][a-z]+(?: [a-z]+)*))", where)
        for quoted, plain in here:
            assert any((quoted or plain).startswith(title) for title in sections | {"Big weights"}), (name, where)
        assert here or "terminal" in where or name in ("demo", "bench", "log"), name
