"""What was believed when, at a terminal."""

from __future__ import annotations

from rich.console import Console

from specdb.answers import ElementAnswer
from specdb.answers.history import ChangeShown, RevisionsAnswer
from specdb.characteristics import ATTRIBUTES, title_of
from specdb.printing.page import row, say, show_table, table

_MINUTE = len("2024-05-31T12:00")


def print_history(out: Console, answer: ElementAnswer) -> None:
    say(out, f"{answer.maker} {answer.number}   (element {answer.element_id}, revision {answer.catalog_revision})")
    for step in answer.history or ():
        out.print()
        say(out, f"Revision {step.revision}, {_moment(step.at)}, by {step.actor}: {step.reason}")
        changes = table("what", "", "before", "after", "source")
        for change in step.changes:
            reason = f"{change.change}: {change.reason}" if change.reason else change.change
            row(changes, _named(change), reason, change.before, change.after, change.source)
        show_table(out, changes)
    say(out, f"To see it as it was: specdb show {answer.element_id} --as-of REVISION")


def _named(change: ChangeShown) -> str:
    if change.what == "rating" and change.characteristic:
        return f"{title_of(change.characteristic)} {change.name}"
    if change.what == "attribute" and change.name in ATTRIBUTES:
        return ATTRIBUTES[change.name].title
    return change.what


def print_revisions(out: Console, answer: RevisionsAnswer) -> None:
    if not answer.revisions:
        say(out, "Nothing has been put on file yet. To put something on file: specdb import FOLDER")
        return
    listed = table("revision", "at (UTC)", "by", "reason", "added", whole=("revision", "at (UTC)"))
    for each in answer.revisions:
        counts = each.added.model_dump()
        told = ", ".join(f"{count} {name}" for name, count in counts.items() if count)
        row(listed, each.revision, _moment(each.at), each.actor, each.reason, told)
    show_table(out, listed)
    if answer.total > len(answer.revisions):
        say(out, f"{answer.total - len(answer.revisions)} earlier ones; add --limit.")


def _moment(at: str) -> str:
    """A time as kept, to the minute."""
    return at[:_MINUTE].replace("T", " ")
