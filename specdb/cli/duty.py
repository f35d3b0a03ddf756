"""Options that state a duty: the same for every command that judges."""

from __future__ import annotations

import functools
import inspect
import json
import sys
from collections.abc import Callable
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Annotated, Any, get_type_hints

import typer

from specdb.characteristics import BYPASSES, LOCATIONS
from specdb.cli import completion
from specdb.cli.typed import assumptions_of, fit_of, plain_number, switches_of
from specdb.errors import QuestionError

AllowShare = Annotated[
    str | None,
    typer.Option("--allow", metavar="SHARE", help='Relax what is taken from the original by this share: "5 %".'),
]
Require = Annotated[
    list[str] | None,
    typer.Option(
        "--require",
        metavar="TEXT",
        help='A requirement, such as "filtration_ratio >= 200; size 10 um(c)" or '
        '"clean_pressure_drop <= 25 kPa; flow 75 L/min; viscosity 32 mm2/s; drop_of element". May be repeated.',
        autocompletion=completion.judged,
    ),
]
Fit = Annotated[
    list[str] | None,
    typer.Option(
        "--fit",
        metavar="TEXT",
        help='What must fit, such as "thread 1-12 UNF" or "length 140 mm +- 1 mm". May be repeated.',
        autocompletion=completion.fit,
    ),
]
Flow = Annotated[str | None, typer.Option(metavar="QUANTITY", help='Flow through the filter: "75 L/min".')]
Grade = Annotated[str | None, typer.Option(metavar="GRADE", help='Viscosity grade of the fluid: "ISO VG 46".')]
ViscosityIndex = Annotated[
    str | None, typer.Option(metavar="NUMBER", help="Viscosity index of the fluid.")
]
Viscosity = Annotated[str | None, typer.Option(metavar="QUANTITY", help="Viscosity at operating temperature.")]
Density = Annotated[str | None, typer.Option(metavar="QUANTITY", help="Density of the fluid.")]
FluidClass = Annotated[
    str | None, typer.Option(metavar="CLASS", help="Class of the fluid by ISO 6743-4: HM, HFC, HEES.")
]
OperatingTemperature = Annotated[
    str | None, typer.Option(metavar="QUANTITY", help='Operating temperature: "50 degC".')
]
BypassCrackingPressure = Annotated[
    str | None,
    typer.Option(metavar="QUANTITY", help="Drop at which the bypass opens: the terminal drop of a capacity."),
]
PumpFlow = Annotated[
    str | None, typer.Option(metavar="QUANTITY", help="Instead of --flow: that of the pump, times --area-ratio.")
]
AreaRatio = Annotated[
    str | None, typer.Option(metavar="NUMBER", help="Of the cylinder on a return line, piston over ring: 1.6.")
]
Points = Annotated[
    str | None,
    typer.Option(metavar="TEXT", help='Viscosity of the fluid: "46 mm2/s at 40 degC; 6.8 mm2/s at 100 degC".'),
]
DensityTemperature = Annotated[
    str | None, typer.Option(metavar="QUANTITY", help="Temperature of --density; by default the operating one.")
]
ColdStartTemperature = Annotated[
    str | None, typer.Option(metavar="QUANTITY", help="Coldest temperature at which the machine starts.")
]
WorkingPressure = Annotated[str | None, typer.Option(metavar="QUANTITY", help="Pressure of the filter's line.")]
ReliefPressure = Annotated[str | None, typer.Option(metavar="QUANTITY", help="Setting of the relief valve.")]
Location = Annotated[
    str | None,
    typer.Option(metavar="PLACE", help="Place in the circuit: " + ", ".join(LOCATIONS) + ".",
                 autocompletion=completion.locations),
]  # fmt: skip
Bypass = Annotated[
    str | None,
    typer.Option(metavar="WHERE", help="Where the bypass valve is: " + ", ".join(BYPASSES) + ".",
                 autocompletion=completion.bypasses),
]  # fmt: skip
BypassFullFlowDrop = Annotated[
    str | None, typer.Option(metavar="QUANTITY", help="Drop of the bypass valve at full flow of cold fluid.")
]
MaximumPressureDrop = Annotated[
    str | None, typer.Option(metavar="QUANTITY", help="Without a bypass: greatest drop the element can see.")
]
PressureCycles = Annotated[
    str | None, typer.Option(metavar="NUMBER", help="Cycles of the working pressure that a spin-on must stand.")
]
PumpInletPressure = Annotated[
    str | None, typer.Option(metavar="QUANTITY", help='Least at the pump\'s inlet: "80 kPa abs", "-20 kPa".')
]
ReservoirVolume = Annotated[str | None, typer.Option(metavar="QUANTITY", help='Fluid in the reservoir: "400 L".')]
TurnoversPerHour = Annotated[
    str | None, typer.Option(metavar="NUMBER", help="Instead of --flow, off-line: turnovers of the reservoir.")
]
AirFlow = Annotated[str | None, typer.Option(metavar="QUANTITY", help="Of a breather: air at the fastest change.")]
AirPressureDrop = Annotated[
    str | None, typer.Option(metavar="QUANTITY", help="Of a breather: most that the reservoir stands.")
]
TargetCleanliness = Annotated[
    str | None, typer.Option(metavar="CODE", help="Code by ISO 4406 that the fluid must keep: 18/16/13.")
]
Ingression = Annotated[
    list[str] | None,
    typer.Option(
        "--ingression",
        metavar="NAME=VALUE",
        help='What gets in: "at_4=1e8 /min", at_6, at_14, "mass=0.5 g/h", environment=mobile. May be repeated.',
        autocompletion=completion.ingression,
    ),
]
ServiceInterval = Annotated[str | None, typer.Option(metavar="QUANTITY", help='How long it must last: "1000 h".')]
CapacityUsed = Annotated[
    str | None, typer.Option(metavar="SHARE", help="Share of the capacity that is used by then: 80 %.")
]
Derive = Annotated[
    list[str] | None,
    typer.Option(
        "--derive",
        metavar="NAME=VALUE",
        help='Rules that turn the duty into requirements: none, "collapse=no", "burst=2.5". May be repeated.',
        autocompletion=completion.rules,
    ),
]
PriceOf = Annotated[
    list[str] | None,
    typer.Option("--price", metavar="NUMBER=PRICE", help='Price of an element: "12-2 = 39". May be repeated.'),
]
ChangeCost = Annotated[str | None, typer.Option(metavar="NUMBER", help="Cost of one change, without the element.")]
Currency = Annotated[str | None, typer.Option(metavar="WORD", help="Stands beside amounts of money: EUR.")]
Assume = Annotated[
    list[str] | None,
    typer.Option(
        "--assume",
        metavar="NAME",
        help='"customary" for all, or one by name, such as "about_within=15 %". May be repeated.',
        autocompletion=completion.assumptions,
    ),
]
QuestionFile = Annotated[
    Path | None,
    typer.Option("--duty", metavar="FILE", help="A file with the question in JSON, as the API takes it; - for input."),
]


_FLUID = ("grade", "viscosity_index", "points", "viscosity", "density", "density_temperature")
_PLAIN = (
    *("flow", "pump_flow", "area_ratio", "reservoir_volume", "turnovers_per_hour"),
    *("operating_temperature", "cold_start_temperature", "working_pressure", "relief_pressure", "location"),
    *("bypass", "bypass_cracking_pressure", "bypass_full_flow_drop", "maximum_pressure_drop", "pressure_cycles"),
    *("pump_inlet_pressure", "air_flow", "air_pressure_drop", "target_cleanliness"),
    *("service_interval", "capacity_used"),
)
"""Fields of the duty that an option of the same name states."""
_NUMBERS = ("viscosity_index", "area_ratio", "turnovers_per_hour", "pressure_cycles", "change_cost")
"""Options that take a plain number."""


@dataclass(frozen=True)
class DutyTyped:
    """What was typed of a duty: one field for each option, None where it was not given."""

    allow: AllowShare = None
    require: Require = None
    fit: Fit = None
    flow: Flow = None
    grade: Grade = None
    viscosity_index: ViscosityIndex = None
    viscosity: Viscosity = None
    density: Density = None
    fluid_class: FluidClass = None
    operating_temperature: OperatingTemperature = None
    bypass_cracking_pressure: BypassCrackingPressure = None
    cold_start_temperature: ColdStartTemperature = None
    points: Points = None
    density_temperature: DensityTemperature = None
    location: Location = None
    working_pressure: WorkingPressure = None
    relief_pressure: ReliefPressure = None
    bypass: Bypass = None
    bypass_full_flow_drop: BypassFullFlowDrop = None
    maximum_pressure_drop: MaximumPressureDrop = None
    pressure_cycles: PressureCycles = None
    pump_flow: PumpFlow = None
    area_ratio: AreaRatio = None
    reservoir_volume: ReservoirVolume = None
    turnovers_per_hour: TurnoversPerHour = None
    pump_inlet_pressure: PumpInletPressure = None
    air_flow: AirFlow = None
    air_pressure_drop: AirPressureDrop = None
    target_cleanliness: TargetCleanliness = None
    ingression: Ingression = None
    service_interval: ServiceInterval = None
    capacity_used: CapacityUsed = None
    price: PriceOf = None
    change_cost: ChangeCost = None
    currency: Currency = None
    derive: Derive = None
    assume: Assume = None
    duty: QuestionFile = None

    def asked(self) -> dict[str, Any]:
        """The question so far: what the file states, and the options, which add to it and have the last word.

        Raises QuestionError for what cannot be read.
        """
        from specdb.duty.typed import named_value, requirement_of

        asked = _question_file(self.duty) if self.duty is not None else {}
        if self.allow is not None:
            part(asked, "original")["allow"] = self.allow
        stated = part(asked, "duty")
        given = {field.name: getattr(self, field.name) for field in fields(self)}
        given |= {name: plain_number(given[name]) for name in _NUMBERS if given[name] is not None}
        fluid = {name: given[name] for name in _FLUID}
        _put(stated, "fluid", fluid | {"class": self.fluid_class})
        for name in _PLAIN:
            if given[name] is not None:
                stated[name] = given[name]
        _put(stated, "ingression", dict(map(named_value, self.ingression or [])))
        _put(stated, "costs", {"currency": self.currency, "change_cost": given["change_cost"]})
        if self.price:
            _put(stated, "costs", {"prices": "; ".join(self.price)})
        if self.derive:
            stated["derive"] = switches_of(self.derive)
        if self.require:
            stated["require"] = [*part(stated, "require", list), *map(requirement_of, self.require)]
        _put(stated, "fit", dict(map(fit_of, self.fit or [])))
        if self.assume:
            stated["assumptions"] = assumptions_of(self.assume)
        return asked


def with_duty(command: Callable[..., None]) -> Callable[..., None]:
    """``command`` with an option for each field of DutyTyped in the place of its parameter ``duty``."""
    options = get_type_hints(DutyTyped, include_extras=True)
    parameters: list[inspect.Parameter] = []
    for parameter in inspect.signature(command, eval_str=True).parameters.values():
        if parameter.name != "duty":
            parameters.append(parameter.replace(kind=inspect.Parameter.KEYWORD_ONLY))
            continue
        parameters += [
            inspect.Parameter(
                field.name, inspect.Parameter.KEYWORD_ONLY, default=field.default, annotation=options[field.name]
            )
            for field in fields(DutyTyped)
        ]

    @functools.wraps(command)
    def taking(**given: Any) -> None:
        command(duty=DutyTyped(**{field.name: given.pop(field.name) for field in fields(DutyTyped)}), **given)

    taking.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters}
    vars(taking)["__signature__"] = inspect.Signature(parameters)
    return taking


def part(asked: dict[str, Any], name: str, kind: type = dict) -> Any:
    """The object or list at ``name`` in a question from a file, to which options are added."""
    found = asked.setdefault(name, kind())
    if not isinstance(found, kind):
        what = "object" if kind is dict else "list"
        raise QuestionError(f"This is no JSON {what}.", value=found, field=name, remedy="See docs/duty.md.")
    return found


def _put(stated: dict[str, Any], group: str, values: dict[str, Any]) -> None:
    given = {name: value for name, value in values.items() if value is not None}
    if given:
        stated[group] = part(stated, group) | given


def _question_file(path: Path) -> dict[str, Any]:
    field = str(path)
    try:
        text = sys.stdin.read() if field == "-" else path.read_text(encoding="utf-8")
        asked = json.loads(text)
    except (OSError, ValueError, RecursionError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise QuestionError(f"The file cannot be read: {why}.", field=field, remedy="Give a JSON question.") from None
    if not isinstance(asked, dict):
        raise QuestionError("The file holds no JSON object.", field=field, remedy="Give a JSON question.")
    return asked
