"""The pages of the documentation, and the fenced blocks that stand in them.

What a block is, the word after its fence says:

- ``sh`` and ``python`` are run, in order, one page in one shell;
- ``text``, ``json`` and ``csv`` are what the last block that was run prints; but a ``json`` block each of whose
  fields is one of a question's is a question;
- ``csv file`` is a file of a catalogue folder;
- ``sh setup`` is one of the two set-up commands, which no test can run from within;
- ``not run: <why>`` after any of these words takes a block out, and says why.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path

from specdb.duty.question import ComparisonAsked, Question

ROOT = Path(__file__).parents[2]
PAGES = {
    path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8")
    for path in (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md")))
}
"""Page, as a path from the root: its text."""

RUN = ("sh", "python")
SHOWN = ("text", "json", "csv")
NOT_RUN = re.compile(r"not run: \S.{9,}")
_FENCE = re.compile(r"^ *(?P<marks>`{3,}|~{3,})(?P<info>.*)$")
_QUESTION_FIELDS = set(Question.model_fields) | set(ComparisonAsked.model_fields)


@dataclass(frozen=True)
class Block:
    """``line`` is that of its opening fence; ``use`` what stands after the language."""

    page: str
    line: int
    language: str
    use: str
    text: str

    @property
    def place(self) -> str:
        return f"{self.page}, line {self.line}"

    @property
    def taken_out(self) -> bool:
        return NOT_RUN.fullmatch(self.use) is not None

    @property
    def runs(self) -> bool:
        return self.language in RUN and not self.use

    @property
    def shows(self) -> bool:
        """Whether it is what a block before it prints."""
        return self.language in SHOWN and not self.use and not self.asks

    @property
    def asks(self) -> bool:
        """Whether it is a question in JSON."""
        if self.language != "json" or self.use:
            return False
        shown = json.loads(self.text)
        return isinstance(shown, dict) and bool(shown) and shown.keys() <= _QUESTION_FIELDS


def blocks_of(page: str) -> list[Block]:
    """Every fenced block of a page, in order. Raises AssertionError where one is not closed."""
    found: list[Block] = []
    opened: tuple[int, str, str] | None = None
    held: list[str] = []
    for number, line in enumerate(PAGES[page].splitlines(), start=1):
        fence = _FENCE.match(line)
        if opened is None and fence is not None:
            opened, held = (number, fence["marks"], fence["info"].strip()), []
        elif opened is not None and fence is not None and fence["marks"] == opened[1] and not fence["info"].strip():
            language, _, use = opened[2].partition(" ")
            found.append(Block(page, opened[0], language, use.strip(), "".join(f"{each}\n" for each in held)))
            opened = None
        elif opened is not None:
            held.append(line)
    assert opened is None, f"{page}, line {opened and opened[0]}: this block is not closed"
    return found


BLOCKS = [block for page in PAGES for block in blocks_of(page)]


def quoted(page: str) -> set[str]:
    """Every piece of text that stands in code quotes on a page, outside of its blocks."""
    return set(re.findall(r"`([^`\n]+)`", prose(page)))


def prose(page: str) -> str:
    """A page without its fenced blocks."""
    return re.sub(r"^ *(```+)[^\n]*\n.*?^ *\1$", "", PAGES[page], flags=re.MULTILINE | re.DOTALL)


def words_in(texts: set[str]) -> set[str]:
    """Names within quoted texts: ``original.allow`` holds ``original`` and ``allow``."""
    return {word for text in texts for word in re.findall(r"[A-Za-z][A-Za-z0-9_]*", text)}


QUOTED = {page: quoted(page) for page in PAGES if page.startswith("docs/")}
NAMED = {page: words_in(texts) for page, texts in QUOTED.items()}
"""Page of ``docs/``: names that stand in code quotes on it."""
NAMED_ANYWHERE = set().union(*NAMED.values())
