"""The pages, each in the states that a reader meets it in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from specdb.catalog.identity import element_id
from tests.browser.hostile import IDS, TEXTS

FERRY = {"original.number": "Dulse 23"}
QUARRY = FERRY | {
    "location": "return", "pump_flow": "60 L/min", "area_ratio": "1.25", "fluid.grade": "ISO VG 46",
    "fluid.viscosity_index": "100", "operating_temperature": "50 degC", "cold_start_temperature": "-5 degC",
    "working_pressure": "800 kPa", "bypass": "head", "bypass_cracking_pressure": "170 kPa",
}  # fmt: skip
LABEL = {
    "require.1.characteristic": "filtration_ratio", "require.1.at_least": "200", "require.1.size": "10 um(c)",
    "require.2.characteristic": "collapse_pressure", "require.2.at_least": "10 bar", "fit.thread": "1-12 UNF",
}  # fmt: skip
HOSTILE = {"original.number": TEXTS["script"]}
TOO_LONG = {"original.number": '<i onclick="alert(1)">' + "9" * 278}


@dataclass(frozen=True)
class State:
    """A page at an address; ``shows`` are texts from outside that it shows, to the letter."""

    name: str
    path: str
    status: int = 200
    shows: tuple[str, ...] = ()


def demo(maker: str, number: str) -> str:
    return element_id(maker, number)


def compared(ids: Iterable[str]) -> dict[str, str]:
    return {f"elements.{place}.element_id": each for place, each in enumerate(ids, 1)}


def at(path: str, *names: Mapping[str, str]) -> str:
    query = urlencode({name: text for each in names for name, text in each.items()})
    return f"{path}?{query}" if query else path


SEVENK, TWELVE, FJORD, LABELLED = (
    demo(*named)
    for named in (("Sundercairn", "=7-K"), ("Tarnwhistle", "12-2"), ("Brindlefjord", "96E8"), ("Oddmarrow", "00417"))
)
TWENTY = (
    *(demo("Quollbeck", f"Dulse {number}") for number in ("21", "21/B", "22", "22/B", "23/B", "24", "24/B")),
    *(demo("Tarnwhistle", f"12-{number}") for number in range(1, 10)),
    *(demo("Oddmarrow", number) for number in ("00417", "00419", "00420", "00421")),
)
HOSTILE_ALONE = ("picture", "right-to-left", "turned", "long")
_ALL = tuple(TEXTS.values())

STATES = (
    State("find, empty", "/"),
    State("find, half a number", at("/", {"q": "lse 23"}), shows=("Dulse 23/B",)),
    State("find, nothing", at("/", {"q": "no such number at all"}), shows=("no such number at all",)),
    State("find, measures", at("/", {"q": "1-12 UNF 96 mm x 140 gasket 72"}), shows=("fg:96:4",)),
    State("find, hostile text on file", at("/", {"q": TEXTS["script"]}), shows=(TEXTS["script"],)),
    State("find, hostile text asked", at("/", {"q": TEXTS["picture"] + TEXTS["turned"]}), shows=(TEXTS["picture"],)),
    State("element", f"/elements/{demo('Quollbeck', 'Dulse 23')}", shows=("Dulse 23",)),
    State("element, for a duty", at(f"/elements/{TWELVE}", QUARRY), shows=("12-2",)),
    State("element, nothing rated", f"/elements/{demo('Oddmarrow', '00430')}", shows=("00430",)),
    State("element, obsolete", f"/elements/{demo('Oddmarrow', '00611')}", shows=("00611", "00612")),
    *(State(f"element, {key}", f"/elements/{IDS[key]}", shows=(TEXTS[key],)) for key in HOSTILE_ALONE),
    State("element, none such", "/elements/0123456789abcdef", 404),
    State("replace, empty", "/replace"),
    State("replace, original", at("/replace", FERRY), shows=("Dulse 23", "=7-K")),
    State("replace, machine", at("/replace", QUARRY, {"assumptions": "none"}), shows=("Dulse 23/B",)),
    State("replace, label", at("/replace", LABEL), shows=("=7-K",)),
    State("replace, faults", at("/replace", FERRY, {"flow": "75 <furlongs>"}), 422, ("75 <furlongs>",)),
    State("replace, hostile", at("/replace", HOSTILE), shows=_ALL),
    State("replace, too long a number", at("/replace", TOO_LONG), 422),
    State("side by side, empty", "/side-by-side"),
    State("side by side, one", at("/side-by-side", FERRY, compared([SEVENK])), shows=("=7-K",)),
    State(
        "side by side, four",
        at("/side-by-side", QUARRY, compared([SEVENK, TWELVE, FJORD, LABELLED]), {"units": "us"}),
        shows=("=7-K", "12-2", "96E8", "00417"),
    ),
    State(
        "side by side, hostile",
        at("/side-by-side", HOSTILE, compared(list(IDS.values())[-4:]), {"machine": TEXTS["picture"]}),
        shows=(*_ALL[-4:], TEXTS["picture"]),
    ),
    State("side by side, faults", at("/side-by-side", FERRY, {"elements.1.number": TEXTS["attribute"][:9]}), 404),
    State("ask, empty", "/ask"),
    State("ask, machine", at("/ask", QUARRY), shows=("Dulse 23",)),
    State("ask, hostile", at("/ask", HOSTILE, {"asked_by": TEXTS["picture"]})),
    State("cross-check, empty", "/cross-check"),
    State("load, empty", "/load"),
    State("no such page", "/<script>alert(1)</script>", 404),
)  # fmt: skip

LARGEST = (
    State("twenty side by side", at("/side-by-side", QUARRY, compared(TWENTY)), shows=("Dulse 24/B", "00421")),
    State("fifty candidates", at("/replace", QUARRY, {"limit": "50"})),
    State("fifty to be asked about", at("/ask", QUARRY, {"limit": "50"})),
)
"""As many as a page shows, or offers to show."""
