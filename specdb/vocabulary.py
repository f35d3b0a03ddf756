"""Words of data sheets brought to one spelling: qualifiers, standards, dusts, liquids, choices."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterable
from functools import lru_cache

from specdb.characteristics import CHARACTERISTICS, CLASS_OF_TRADE

_STANDARDS = {
    re.sub(r"[\s/]", "", standard).casefold(): standard
    for characteristic in CHARACTERISTICS.values()
    for standard in characteristic.standards
}
_EDITION = re.compile(r"(?P<standard>.+?)\s*[:\-\N{EN DASH}]\s*(?P<edition>(?:19|20)[0-9]{2})")

_QUALIFIERS = {
    "equal": ("equal", "=", "exactly", "measured"),
    "at_least": ("at least", ">=", "=>", "≥", ">", "min", "min.", "minimum"),
    "at_most": ("at most", "<=", "=<", "≤", "<", "max", "max.", "maximum"),
    "about": ("about", "~", "≈", "approx", "approx.", "approximately", "ca", "ca.", "typ", "typ.", "typical",
              "nominal", "nom", "nom."),
}  # fmt: skip
_QUALIFIER_OF = {spelling: qualifier for qualifier, spellings in _QUALIFIERS.items() for spelling in spellings}
_SIGN = re.compile(r"(>=|=>|≥|>|<=|=<|≤|<|=|~|≈)\s*")

# Test dusts of ISO 12103-1; the other names of A1, A2 and A4 are from memory.
_ISO_DUSTS = {
    "A1": ("isouftd", "isoultrafine"),
    "A2": ("isoftd", "isofine"),
    "A3": ("isomtd", "isomedium", "isomediumtestdust"),
    "A4": ("isoctd", "isocoarse"),
}
_ISO_DUST = re.compile(r"(?:iso)?(?:12103-?1)?(a[1-4])")
_ACFTD = {"acftd", "acfinetestdust", "acfine", "aircleanerfinetestdust"}
_PROPANOL = {"2-propanol", "isopropyl alcohol", "isopropanol", "ipa", "propan-2-ol", "2 propanol", "iso-propanol"}


def one_line(text: str) -> str:
    """``text`` with every run of blanks or line ends as one space."""
    return " ".join(text.split())


@lru_cache(maxsize=4096)
def folded(text: str) -> str:
    """``text`` for comparing words: no case, and spaces, dashes and underscores alike."""
    spelled = text.casefold().replace("\N{INCREMENT}", "δ")  # typed for a capital delta
    return " ".join(spelled.replace("-", " ").replace("_", " ").split())


def chosen(text: str, choices: Iterable[str]) -> str | None:
    """The choice that ``text`` spells, or None."""
    wanted = folded(text)
    return next((choice for choice in choices if folded(choice) == wanted), None)


_WITH_A_VALVE = ("element", "head", "both")
_TRADE_WORDS = {
    # What the trade also calls materials, fluids and places (common practice), and answers where a place is asked.
    "hydrogenated nitrile": ("HNBR",),
    "nitrile": ("NBR",),
    "fluorocarbon": ("FKM",),
    "fluoroelastomer": ("FKM",),
    "ethylene propylene": ("EPDM",),
    "polyurethane": ("PU",),
    "water glycol": ("HFC",),
    "phosphate ester": ("HFDR",),
    "synthetic ester": ("HEES",),
    "vegetable oil": ("HETG",),
    "mineral oil": ("HM",),
    "oil in water": ("HFAE",),
    "water in oil": ("HFB",),
    "kidney loop": ("off-line",),
    "yes": _WITH_A_VALVE,
    "valve": _WITH_A_VALVE,
    "no": ("none",),
}


def meant_of(text: str, choices: Collection[str]) -> str:
    """A question back, 'Is "NBR" meant?', where ``text`` is none of the ``choices`` and may stand for some; else "".

    A choice that is a word of the text goes before what the trade calls one, and that before one that is spelt alike.
    """
    said = folded(text[:80])
    its_class = CLASS_OF_TRADE.get(said.replace(" ", "").upper())
    found = [choice for choice in choices if choice == its_class or (not its_class and _has_word(said, folded(choice)))]
    if not found:
        named = (words for name, words in _TRADE_WORDS.items() if _has_word(said, name) and {*words} <= {*choices})
        found = list(next(named, ()))
    if not found:
        near = difflib.get_close_matches(said, map(folded, choices), n=1, cutoff=0.7)
        found = [choice for choice in choices if folded(choice) in near]
    quoted = [f'"{choice}"' for choice in found]
    return f"Is {' or '.join(filter(None, [', '.join(quoted[:-1]), quoted[-1]]))} meant?" if quoted else ""


def _has_word(said: str, name: str) -> bool:
    return f" {name} " in f" {said} "


def qualifier_of(text: str) -> str | None:
    """The qualifier that a word or sign stands for, or None."""
    return _QUALIFIER_OF.get(" ".join(text.casefold().replace("_", " ").split()))


def signed(text: str) -> tuple[str | None, str]:
    """A sign that stands before a number, as a qualifier, and the rest: ``>= 200`` is (at_least, 200)."""
    match = _SIGN.match(text)
    return (None, text) if match is None else (_QUALIFIER_OF[match[1]], text[match.end() :])


def standard_and_edition(text: str) -> tuple[str, str | None]:
    """``iso16889:2008`` as (ISO 16889, 2008). A standard not known here keeps its spelling."""
    plain = one_line(text)
    match = _EDITION.fullmatch(plain)
    name, edition = (match["standard"], match["edition"]) if match else (plain, None)
    return _STANDARDS.get(re.sub(r"[\s/]", "", name).casefold(), name), edition


def dust_of(text: str) -> str:
    """``A3``, ``ISO MTD`` or ``ISO 12103-1, A3`` as ISO 12103-1 A3; any other dust keeps its spelling."""
    plain = one_line(text)
    squeezed = re.sub(r"[\s,;.()/]", "", plain).casefold()
    if match := _ISO_DUST.fullmatch(squeezed):
        return f"ISO 12103-1 {match[1].upper()}"
    for grade, names in _ISO_DUSTS.items():
        if squeezed in names:
            return f"ISO 12103-1 {grade}"
    return "ACFTD" if squeezed.replace("-", "") in _ACFTD else plain


def liquid_of(text: str) -> str:
    """The test liquid in lower case, 2-propanol by its one name."""
    plain = one_line(text).casefold()
    return "2-propanol" if plain in _PROPANOL else plain


_CHARACTERISTIC_OF = {folded(name): c.key for c in CHARACTERISTICS.values() for name in (c.key, c.title)}


def characteristic_of(text: str) -> str | None:
    """Key of the characteristic that ``text`` names by key or title, or None."""
    return _CHARACTERISTIC_OF.get(folded(text))


_EFFICIENCY = ("efficiency", "removal", "retention rate")
_CHARACTERISTIC_WORDS: dict[str, tuple[str, ...]] = {
    # What the trade also calls what is tested (common practice). A word may stand for several.
    "filtration_ratio": (*_EFFICIENCY, "beta", "β", "ratio", "multi pass", "multipass"),
    "retained_capacity": (
        "dirt", "dirt capacity", "dust", "dust capacity", "dhc", "contaminant", "contaminant capacity", "contamination",
        "solids", "sludge", "capacity", "acftd capacity", "retention capacity", "holding capacity", "loading",
        "dirt holding", "dirt holding capacity", "dust holding capacity", "contaminant holding capacity",
    ),
    "clean_pressure_drop": (
        "pressure drop", "pressure loss", "differential pressure", "pressure differential", "flow resistance",
        "delta p", "deltap", "δp", "δ p", "dp", "clean drop", "clean dp", "clean δp", "clean δ p", "clean delta p",
        "clean pressure loss", "initial drop", "initial pressure drop",
    ),
    "bubble_point": ("bubble", "first bubble", "integrity"),
    "collapse_pressure": ("collapse", "collapse rating", "crush", "element strength", "burst of the element"),
    "flow_fatigue_cycles": ("fatigue", "flow cycles", "cycles"),
    "working_pressure": (
        "operating pressure", "rated pressure", "nominal pressure", "maximum pressure", "max pressure",
        "maximum working pressure", "max working pressure", "pressure rating", "design pressure", "static pressure",
    ),
    "burst_pressure": ("burst", "bursting", "rupture"),
    "pressure_fatigue_cycles": ("fatigue", "impulse", "pulse", "pressure cycles", "cycles"),
    "bypass_cracking_pressure": (
        "bypass", "by pass", "cracking", "cracking pressure", "opening pressure", "relief valve", "valve setting",
    ),
    "temperature_low": (
        "temperature", "temp", "temperature range", "minimum temperature", "min temperature", "min temp",
        "low temperature", "coldest",
    ),
    "temperature_high": (
        "temperature", "temp", "temperature range", "maximum temperature", "max temperature", "max temp",
        "high temperature", "hottest",
    ),
    "air_pressure_drop": ("air pressure loss", "air resistance", "air flow resistance", "breather pressure drop"),
    "air_particle_size": ("air filtration", "breather rating", "air rating"),
    "water_capacity": (
        "water", "water holding", "water holding capacity", "water absorption", "water retention", "capacity",
        "moisture",
    ),
    "mesh_opening": ("mesh", "mesh size", "mesh width", "aperture", "screen opening"),
    "rated_flow": (
        "flow", "flow rate", "nominal flow", "maximum flow", "max flow", "flow rating", "flow capacity",
    ),
}  # fmt: skip


_USUALLY = {"capacity": "retained_capacity"}
"""Of a name that several have, whose it is where nothing else is said (common practice)."""


def characteristics_named(text: str) -> tuple[str, ...]:
    """Keys of the characteristics that the trade calls by the whole of ``text``, key and title too. Several where the
    name is no one's alone, none where it is no such name."""
    said = folded(text[:80])
    key = characteristic_of(said) or _USUALLY.get(said)
    return (key,) if key else tuple(key for key, names in _CHARACTERISTIC_WORDS.items() if said in names)


@lru_cache(maxsize=4096)
def characteristics_meant(text: str) -> tuple[str, ...]:
    """Keys of the characteristics that ``text``, which names none, may stand for: by what the trade calls them, the
    longest such name alone, else by its words in their keys, else by how they are spelt. Several where the words leave
    it open."""
    # "beta10" and "β10(c)" hold the word and a size.
    plain = re.sub(r"(?<=[^\W\d_])(?=\d)|[^\w%]+", " ", folded(text[:80]))
    said = " ".join(plain.split())
    names = {(name, key) for key, names in _CHARACTERISTIC_WORDS.items() for name in names}
    names |= {(folded(key), key) for key in CHARACTERISTICS}
    found = {(len(name), key) for name, key in names if _has_word(said, name)}
    if found:
        longest = max(length for length, _ in found)
        keys = {key for length, key in found if length == longest}
    else:
        keys = {key for key in CHARACTERISTICS if said and {*said.split()} <= {*folded(key).split()}}
    if not keys:
        near = difflib.get_close_matches(said, sorted({name for name, _ in names}), 1, cutoff=0.7)
        keys = {key for name, key in names if name in near}
    return tuple(key for key in CHARACTERISTICS if key in keys)


def is_efficiency(text: str) -> bool:
    """Whether ``text`` speaks of a share held back, which is entered as a filtration ratio in percent."""
    said = folded(text[:80])
    return any(_has_word(said, word) for word in _EFFICIENCY)


