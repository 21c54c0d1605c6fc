"""Writes down what is answered to the questions of `tests/values/kept_asked.py`. Run from the project's folder:

    PYTHONPATH=. python tests/data/kept_crooked/make.py

It changes what must not change: do it only where a figure or a sentence was found wrong, and say which in README.md.
"""

import json
import tempfile
from pathlib import Path

from tests.values.kept_asked import QUESTIONS, hear, pushed_before


def main() -> None:
    """Ask, and write `expected.json`."""
    with tempfile.TemporaryDirectory() as folder:
        pushed = pushed_before(Path(folder))
        told = {
            name: hear(question, Path(folder) / f"{number}", pushed if question.pushed else None)
            for number, (name, question) in enumerate(QUESTIONS.items())
        }
    text = json.dumps(told, ensure_ascii=False, indent=0)
    Path(__file__).with_name("expected.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
