"""How the command line ends: each fault in one line on standard error, and an exit status.

0 answered; 1 failed; 2 the question or the command line cannot be read; 3 not on file; 4 an import was
refused; 5 refused as things stand; 6 the store cannot be used; 7 answered, but for lines that have faults; 130
interrupted; 141 the reader of the output went away.
"""

from __future__ import annotations

import json
import re
import shlex
import sys
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import typer

from specdb.characteristics import ATTRIBUTES
from specdb.errors import ImportRefusedError, NotOnFileError, RowFault, SpecdbError, meant_by, shown
from specdb.printing.signs import printable

INTERRUPTED = 130
SOME_FAULTY = 7
"""Of a cross-check: some lines have faults, and the others are answered."""
_PLACES = {
    "number": "NUMBER", "original.number": "NUMBER", "original": "NUMBER", "q": "TEXT", "as_of": "--as-of",
    "maker": "--maker", "kind": "--kind", "fluid_class": "--fit fluid_class", "target": "TARGET",
    "expected_revision": "--expected-revision", "service": "--service",
}  # fmt: skip
"""Fields of questions, and where they are typed."""
_NOT_ONE_OF = re.compile("'([^']*)' is not one of (.+)")
OUTPUT_CLOSED = 141
"""As shells report a program that was stopped by the closing of its output."""


def typed(option: str) -> bool:
    """Whether ``option`` stands on the command line, before any "--"."""
    words = sys.argv[1:]
    before = words[: words.index("--") if "--" in words else None]
    return any(word == option or word.startswith(f"{option}=") for word in before)


def tell(error: SpecdbError) -> int:
    """Says what was wrong, and gives the exit status."""
    faults = getattr(error, "faults", ())
    if typed("--json"):
        _tell_json(error.code, str(error), [_told(fault) for fault in faults or (error,)])
        return error.exit_status
    if faults:
        whole = error.message if isinstance(error, ImportRefusedError) else f"{len(faults)} faults in what was asked."
        print(f"specdb: {printable(whole)}", file=sys.stderr)
    for fault in faults or (error,):
        text = printable(str(fault) if isinstance(fault, RowFault) else _as_typed(fault))
        print(f"  {text}" if faults else f"specdb: {text}", file=sys.stderr)
    return error.exit_status


def tell_usage(error: typer.TyperException) -> int:
    """Says why the command line cannot be read, what would be right, and gives the exit status."""
    message, remedy = _usage(error)
    if typed("--json"):
        fault = {"field": _place(error), "message": message, "found": None, "remedy": remedy}
        _tell_json("usage", f"{message} {remedy}", [fault])
    elif _is_help(error):
        print(error.format_message(), file=sys.stderr)
    else:
        print(f"specdb: {message} {remedy}", file=sys.stderr)
    return error.exit_code


def _is_help(error: typer.TyperException) -> bool:
    """Whether nothing but the program's name was typed: the parser answers with its help."""
    return type(error).__name__ == "NoArgsIsHelpError"


def _tell_json(code: str, message: str, errors: Sequence[dict[str, Any]]) -> None:
    print(json.dumps({"code": code, "message": message, "errors": errors}, ensure_ascii=False), file=sys.stderr)


def _told(fault: SpecdbError | RowFault) -> dict[str, Any]:
    """A fault as data: its place, what was found and what would be right."""
    if isinstance(fault, RowFault):
        return asdict(fault)
    return {"field": fault.field, "message": fault.message, "found": fault.value, "remedy": fault.remedy}


def _usage(error: typer.TyperException) -> tuple[str, str]:
    """Message and remedy of a command line that the parser refused."""
    said = "A command is missing" if _is_help(error) else error.format_message().strip()
    if (option := getattr(error, "option_name", None)) and hasattr(error, "possibilities"):
        # The parser's sentence repeats the option as typed; whatever is in it, it is one line here.
        near = _options_with(error, option) or sorted(error.possibilities or ())
        said = f"There is no option {shown(option)}." + (f" Did you mean {' or '.join(near)}?" if near else "")
    said = said.replace("Value error, ", "").replace("Input should be", "it must be")
    if unlike := _NOT_ONE_OF.search(said):
        alike = meant_by(unlike[1].replace("_", "-"), re.findall("'([^']+)'", unlike[2]))
        said = f"{said.rstrip('.')}." + (f" Did you mean {alike}?" if alike else "")
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "specdb"
    message = printable(" ".join(said.split()))
    return message if message.endswith((".", "?")) else f"{message}.", f"See {command} --help."


def _options_with(error: typer.TyperException, option: str) -> list[str]:
    """Options of the command whose name holds the one that was typed, such as a part of a long one."""
    context, word = getattr(error, "ctx", None), option.lstrip("-").replace("_", "-")
    known = [] if context is None or len(word) < 3 else [name for each in context.command.params for name in each.opts]
    return sorted(name for name in known if word in name)


def _place(error: typer.TyperException) -> str | None:
    """The option or argument that a usage error is about, as it is typed."""
    if isinstance(hint := getattr(error, "param_hint", None), str):
        return hint
    if (parameter := getattr(error, "param", None)) is not None:
        return str(parameter.opts[0]) if parameter.param_type_name == "option" else str(parameter.metavar)
    option = getattr(error, "option_name", None)
    return None if option is None else shown(option)


def _as_typed(error: SpecdbError) -> str:
    """An error in one line, its field named as the option that it was typed in."""
    place = f"{_option_of(error.field)}: " if error.field else ""
    told = error.value is None or f'"{error.value}"' in error.message
    found = "" if told else f" Found: {error.value}."
    return f"{place}{error.message}{found}" + (f" {error.remedy}" if error.remedy else "") + _next(error)


def _next(error: SpecdbError) -> str:
    """What to type for what claims of a number lead to."""
    instead = error.instead if isinstance(error, NotOnFileError) else ()
    commands = [f"specdb rank {shlex.quote(f'{maker}: {number}')}" for maker, number in instead]
    return f" Next: {' or '.join(commands)}." if commands else ""


def _option_of(field: str) -> str:
    if typed("--duty"):
        return field
    if match := re.fullmatch(r"duty\.require\.(\d+)(?:\.(.+))?", field):
        return f"--require no. {int(match[1]) + 1}" + (f", {match[2]}" if match[2] else "")
    if match := re.fullmatch(r"duty\.(fit|assumptions|ingression|derive)\b\.?(.*)", field):
        return f"--{'assume' if match[1] == 'assumptions' else match[1]} {match[2]}".rstrip()
    if match := re.fullmatch(r"duty\.(?:(?:fluid|costs)\.)?(\w+)", field):
        return {"class": "--fluid-class", "prices": "--price"}.get(match[1], f"--{match[1].replace('_', '-')}")
    if field.startswith("original") and typed("--original"):
        return "--original"
    if match := re.fullmatch(r"elements\.(\d+)(?:\.\w+)?", field):
        return f"NUMBER no. {int(match[1]) + 1}"
    if field in ATTRIBUTES and field != "kind":
        return f"--fit {field}"
    return _PLACES.get(field, field.replace("original.", "--"))
