"""The trade's small sums: ``specdb calc``, one command for each calculation of the registry.

The registry is heavy to load, so the commands are made when one of them is wanted or listed.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperCommand, TyperGroup

from specdb.cli.options import AsCsv, AsJson, AsParquet, Form, InUnits, Units, form_of
from specdb.cli.output import give
from specdb.errors import InputError, QuestionError, SpecdbError

if TYPE_CHECKING:
    from specdb.calculations import Calculation

_WORDS = "words"
"""Name of the argument that takes what is typed without an option."""


class _Calculations(TyperGroup):
    def list_commands(self, ctx: Any) -> list[str]:  # noqa: ARG002 - the parser calls it so
        return list(_commands())

    def get_command(self, ctx: Any, cmd_name: str) -> TyperCommand | None:  # noqa: ARG002 - as above
        return _commands().get(cmd_name.replace("_", "-"))


calc_app = typer.Typer(
    name="calc",
    cls=_Calculations,
    help="The trade's small sums: ratios, codes, viscosities, drops, pores, units.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@cache
def _commands() -> dict[str, TyperCommand]:
    from specdb.calculations import CALCULATIONS

    made = typer.Typer(rich_markup_mode=None)
    for calculation in CALCULATIONS.values():
        made.command(calculation.name, help=_help(calculation))(_command(calculation))
    group = typer.main.get_command(made)
    assert isinstance(group, TyperGroup)
    return {name: command for name, command in group.commands.items() if isinstance(command, TyperCommand)}


def _help(calculation: Calculation) -> str:
    options = {name: f"--{_dashed(name)}" for name in calculation.example if name not in calculation.typed}
    typed = [f"'{calculation.example[name]}'" for name in calculation.typed if name in calculation.example]
    named = [f"{option} '{calculation.example[name]}'" for name, option in options.items()]
    example = " ".join(["specdb calc", calculation.name, *typed, *named])
    return f"{calculation.help}\n\nExample: {example}"


def _command(calculation: Calculation) -> Callable[..., None]:
    """A command whose options are the fields of a calculation."""

    def command(
        *,
        units: Units,
        as_json: bool,
        as_csv: bool,
        as_parquet: Path | None,
        words: list[str] | None = None,
        **given: Any,
    ) -> None:
        from specdb.calculations import calculate
        from specdb.printing.calculations import print_calculation

        form = form_of(as_json, as_csv)
        stated = {name: text for name, text in given.items() if text is not None}
        try:
            answer = calculate(calculation.key, _asked(calculation.typed, words or [], stated), units.value)
        except InputError as error:
            raise error if form is Form.json else _as_options(error) from None
        give(answer, form, units, lambda out: print_calculation(out, answer, units.value), as_parquet)

    parameters = _parameters(calculation)
    command.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters}
    command.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]  # what typer reads
    return command


def _parameters(calculation: Calculation) -> list[inspect.Parameter]:
    def parameter(name: str, annotation: Any, default: Any) -> inspect.Parameter:
        return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, annotation=annotation, default=default)

    made = []
    if calculation.typed:
        shown = " ".join(_dashed(name).upper() for name in calculation.typed)
        helped = f"--{' and --'.join(map(_dashed, calculation.typed))}, without the name."
        made.append(parameter(_WORDS, Annotated[list[str] | None, typer.Argument(metavar=shown, help=helped)], None))
    for name, field in calculation.asked.model_fields.items():
        helped = _option_help(field.description, field.examples)
        option = typer.Option(f"--{_dashed(name)}", metavar="TEXT", help=helped)
        made.append(parameter(name, Annotated[str | None, option], None))
    made.append(parameter("units", InUnits, Units.si))
    made.append(parameter("as_json", AsJson, False))
    made.append(parameter("as_csv", AsCsv, False))
    made.append(parameter("as_parquet", AsParquet, None))
    return made


def _option_help(description: str | None, examples: Sequence[Any] | None) -> str:
    text = description or ""
    return f"{text[:1].upper()}{text[1:]}" + (f": '{examples[0]}'." if examples else ".")


def _dashed(name: str) -> str:
    return name.replace("_", "-")


def _asked(typed: Sequence[str], words: Sequence[str], stated: Mapping[str, str]) -> dict[str, str]:
    """The fields of a question from what stood without and with an option."""
    asked = dict(zip(typed, _split(words, len(typed)), strict=False)) if words else {}
    for name in asked.keys() & stated.keys():
        raise QuestionError("This is stated twice, with and without its option.", value=stated[name], field=name)
    return asked | dict(stated)


def _split(words: Sequence[str], fields: int) -> list[str]:
    """Words as typed, quoted or not, for one field or for two: "75 psi" kPa, or 75 psi to kPa."""
    if fields == 1 or len(words) == 1:
        return [" ".join(words)]
    if "to" in words[1:-1]:
        place = words.index("to")
        return [" ".join(words[:place]), " ".join(words[place + 1 :])]
    return [" ".join(words[:-1]), words[-1]]


def _as_options(error: InputError) -> InputError:
    """The same error, its fields named as the options that they are typed in."""
    for fault in error.faults or (error,):
        if isinstance(fault, SpecdbError) and fault.field is not None:
            fault.field = f"--{_dashed(fault.field)}"
    return error
