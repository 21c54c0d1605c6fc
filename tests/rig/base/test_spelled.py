"""Signs that a code page lacks are spelled out; a command never ends because of one."""

import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from rig.base.spelled import HANDLER, as_typed, knows_all_signs


@pytest.mark.parametrize(
    ("text", "page", "reads"),
    [
        ("front × 0.89 ± 0.09", "cp437", "front x 0.89 ± 0.09"),  # IBM's first page has ± and no ×
        ("(+9 −5) %", "cp1252", "(+9 -5) %"),
        ("50 → 53 %", "cp1252", "50 -> 53 %"),
        ("3 ± 1 °, …", "ascii", "3 +- 1  deg, ..."),
        ("名", "cp850", "?"),
    ],
)
def test_what_a_page_lacks_is_spelled(text: str, page: str, reads: str) -> None:
    assert text.encode(page, HANDLER).decode(page) == reads


def test_json_is_escaped_only_where_a_sign_would_be_lost() -> None:
    assert [knows_all_signs(one) for one in ("utf-8", "UTF8", None, "cp1252", "ascii")] == [
        True,
        True,
        True,
        False,
        False,
    ]


def test_a_command_on_an_old_code_page_ends_well(tmp_path: Path) -> None:
    """Through the command line itself, in a process of its own."""
    code = Path(__file__).parents[3]
    surroundings = os.environ | {"PYTHONPATH": str(code), "PYTHONIOENCODING": "cp437", "PYTHONUTF8": "0"}
    script = (
        "import rig.main, click\n"
        "rig.main.cli.add_command(click.Command('say', callback=lambda: click.echo('5 × 3 −2 → …')))\n"
        "rig.main.FirstScreen.resolve_command = lambda self, ctx, args: ('say', self.commands['say'], [])\n"
        "rig.main.main(['say'])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], env=surroundings, cwd=tmp_path, capture_output=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.decode("cp437").strip() == "5 x 3 -2 -> ..."


@pytest.mark.parametrize(
    "path",
    ["demo/try/plain.toml", "demo für alle/plain.toml", "Öl/a.toml", "it's mine.toml", "a;b.toml", "$HOME.toml", ""],
)
def test_a_shell_reads_a_path_as_it_was_meant(path: str) -> None:
    assert shlex.split(f"pivotbench push {as_typed(path, windows=False)} --json") == [
        "pivotbench",
        "push",
        path,
        "--json",
    ]


@pytest.mark.parametrize(
    ("path", "typed"),
    [
        (r"C:\Users\Jörg\demo\plain.toml", r"C:\Users\Jörg\demo\plain.toml"),
        (r"C:\My cars\plain.toml", r'"C:\My cars\plain.toml"'),
        ("it's & mine.toml", '"it\'s & mine.toml"'),
    ],
)
def test_the_command_prompt_of_windows_knows_double_quotes_only(path: str, typed: str) -> None:
    # common practice, no source
    assert as_typed(path, windows=True) == typed
