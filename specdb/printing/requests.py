"""What to ask makers for, at a terminal: what settles most, what no test settles, and the letters."""

from __future__ import annotations

from rich.console import Console

from specdb.answers.requests import RequestsAnswer
from specdb.printing.page import row, say, show_table, table

_RULE = "-" * 60


def print_requests(out: Console, answer: RequestsAnswer) -> None:
    if answer.original is not None:
        say(out, f"Original: {answer.original.maker} {answer.original.number}")
    say(
        out,
        f"Candidates listed: {answer.asked_about} of {answer.considered}. Catalogue revision "
        f"{answer.catalog_revision}, method {answer.method_version}.",
    )
    out.print()
    asked = table("settles", "what to ask for", "of", whole=("settles",))
    for request in answer.requests:
        row(asked, request.settles, request.words, ", ".join(f"{c.maker} {c.number}" for c in request.candidates))
    show_table(out, asked)
    for beyond in answer.beyond_tests:
        say(out, f"No test settles: {beyond.words}")
        for candidate in beyond.candidates:
            say(out, f"{candidate.maker} {candidate.number}: {candidate.explanation}", indent=3)
    if not answer.letters:
        say(out, "There is nothing to ask makers for.")
    for letter in answer.letters:
        say(out, _RULE)
        for line in letter.text.splitlines():
            if line:
                say(out, line.lstrip(), indent=len(line) - len(line.lstrip()))
            else:
                out.print()
        out.print()
    for name, sentence in answer.assumptions.items():
        say(out, f"Assumed ({name}): {sentence}.")
    if answer.unused:
        say(out, f"Stated but read by no rule: {', '.join(answer.unused)}.")
    for note in answer.notes:
        say(out, note)
