"""Thread designations, so that equal threads compare equal however they are written.

Near is never equal: 3/4-16 UNF and M20x1.5, or 1-12 UNF, M26x1.5 and G3/4, will start on each other and then leak or
back off (a filter trade association's bulletin, 90-1R1). Understood are the unified threads (ASME B1.1), metric
(ISO 261), the parallel pipe thread G (ISO 228), the pipe threads R, Rc and Rp (ISO 7-1) and NPT (ASME B1.20.1).
"""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal
from fractions import Fraction

from specdb.errors import QuestionError

UNDERSTOOD = "Understood are designations such as 1-12 UNF, 1 1/2-16 UN, M20x1.5, G3/4, 3/4 BSPP, R3/4 and 3/4 NPT."

LONGEST = 60

_UNF = "1/4-28 5/16-24 3/8-24 7/16-20 1/2-20 9/16-18 5/8-18 3/4-16 7/8-14 1-12 9/8-12 5/4-12 11/8-12 3/2-12"
_UNC = "1/4-20 5/16-18 3/8-16 7/16-14 1/2-13 9/16-12 5/8-11 3/4-10 7/8-9 1-8 9/8-7 5/4-7 11/8-6 3/2-6 7/4-5"


def _pairs(text: str) -> frozenset[tuple[Fraction, Fraction]]:
    return frozenset((Fraction(size), Fraction(pitch)) for size, pitch in (pair.split("-") for pair in text.split()))


UNIFIED_SERIES = {"UNF": _pairs(_UNF), "UNC": _pairs(_UNC)}
"""Diameter in inches and threads per inch of the fine and coarse series (ASME B1.1, from memory)."""

CONSTANT_PITCH = frozenset(Fraction(pitch) for pitch in (4, 6, 8, 12, 16, 20, 28, 32))
"""Threads per inch of the constant-pitch series UN; any other outside UNF and UNC is UNS (ASME B1.1, from memory)."""

METRIC_COARSE_PITCH_MM = {
    "3": "0.5", "4": "0.7", "5": "0.8", "6": "1", "8": "1.25", "10": "1.5", "12": "1.75", "14": "2", "16": "2",
    "18": "2.5", "20": "2.5", "22": "2.5", "24": "3", "27": "3", "30": "3.5", "33": "3.5", "36": "4", "39": "4",
    "42": "4.5", "45": "4.5", "48": "5", "52": "5", "56": "5.5", "60": "5.5", "64": "6",
}  # fmt: skip
"""Pitch that a metric designation without one means, by diameter in mm (ISO 261 coarse series, from memory)."""

_ISO_7_AND_228 = {
    "1/16": "28", "1/8": "28", "1/4": "19", "3/8": "19", "1/2": "14", "5/8": "14", "3/4": "14", "7/8": "14",
    "1": "11", "5/4": "11", "3/2": "11", "2": "11", "5/2": "11", "3": "11", "4": "11", "5": "11", "6": "11",
}  # fmt: skip
_NPT = {
    "1/16": "27", "1/8": "27", "1/4": "18", "3/8": "18", "1/2": "14", "3/4": "14", "1": "23/2", "5/4": "23/2",
    "3/2": "23/2", "2": "23/2", "5/2": "8", "3": "8", "4": "8", "5": "8", "6": "8",
}  # fmt: skip

_FAMILY_SIZES = {"G": _ISO_7_AND_228, "R": _ISO_7_AND_228, "Rp": _ISO_7_AND_228, "NPT": _NPT, "NPTF": _NPT}

PIPE_THREADS_PER_INCH = {
    family: {Fraction(size): Fraction(pitch) for size, pitch in sizes.items()}
    for family, sizes in _FAMILY_SIZES.items()
}
"""Nominal sizes of each family of pipe thread, threads per inch (ISO 228, ISO 7-1, ASME B1.20.1; from memory)."""

_PIPE_FAMILY = {
    "G": "G", "BSPP": "G", "R": "R", "RC": "R", "BSPT": "R", "RP": "Rp", "NPT": "NPT", "NPTF": "NPTF",
}  # fmt: skip

_SIZE = r"(?P<size>[0-9]{1,2}(?:[ -][0-9]{1,2}/[0-9]{1,2})?|[0-9]{1,2}/[0-9]{1,2}|[0-9]{0,2}\.[0-9]{1,5})"
_PITCH = r"(?P<pitch>[0-9]{1,2}(?:\.5| 1/2)?)"
_UNIFIED = re.compile(rf"{_SIZE} ?- ?{_PITCH} ?-? ?(?:UNF|UNC|UNS|UNEF|UN)(?: ?-? ?[123][AB])?")
_SERIES_FIRST = re.compile(rf"(?:UNF|UNC|UNS|UNEF|UN) ?-? ?{_SIZE} ?- ?{_PITCH}(?: ?-? ?[123][AB])?")
_METRIC = re.compile(
    r"M ?(?P<diameter>[0-9]{1,3}(?:\.[0-9]{1,2})?)(?: ?[X*-] ?(?P<pitch>[0-9]{1,2}(?:\.[0-9]{1,3})?))?"
    r"(?: ?-? ?[0-9][EFGH](?:[0-9][EFGH])?)?"
)
_PIPE_FIRST = re.compile(rf"(?P<family>BSPP|BSPT|NPTF|NPT|G|RC|RP|R) ?-? ?{_SIZE}(?: ?- ?{_PITCH})?(?: ?-? ?[AB])?")
_PIPE_LAST = re.compile(rf"{_SIZE}(?: ?- ?{_PITCH})? ?-? ?(?P<family>BSPP|BSPT|NPTF|NPT)")
_INCH_MARK = re.compile(r"\"|''|\bINCH\b|\bIN\b|(?<=[0-9])IN\b|(?<=[0-9])INCH\b")
_DASHES = str.maketrans(dict.fromkeys("‐‑‒–—―−", "-") | {"×": "X", "″": '"', "”": '"', "“": '"', ",": ".", "⁄": "/"})


def normal_thread(text: str) -> str:
    """One spelling for one thread: ``1"-12UNF-2B`` and ``1 - 12 unf`` are ``1-12 UNF``, ``M20×1,5`` is ``M20x1.5``.

    Tolerance classes (-2B, 6H, A) are dropped. A unified thread's diameter and pitch name its series, so 1-12 UN is
    1-12 UNF; a metric thread without a pitch is the coarse one; BSPP is G; R, Rc and BSPT are one taper thread, R.

    Raises :class:`QuestionError` for text that is no designation understood here, or whose size and threads per
    inch do not belong together.
    """
    plain = _plain(text)
    if (match := _METRIC.fullmatch(plain)) is not None:
        return _metric(text, match["diameter"], match["pitch"])
    if (match := _UNIFIED.fullmatch(plain) or _SERIES_FIRST.fullmatch(plain)) is not None:
        return _unified(text, match["size"], match["pitch"])
    if (match := _PIPE_FIRST.fullmatch(plain) or _PIPE_LAST.fullmatch(plain)) is not None:
        return _pipe(text, match["family"], match["size"], match["pitch"])
    raise _not_understood(text, "This is no thread designation that is understood here.")


def _plain(text: str) -> str:
    """Upper case, one kind of dash, single spaces, no inch marks; "¾" as " 3/4", which NFKC alone would glue on."""
    if len(text) > LONGEST:
        raise _not_understood(text, "A thread designation is shorter than this.")
    spaced = "".join(f" {c}" if unicodedata.decomposition(c).startswith("<fraction>") else c for c in text)
    plain = unicodedata.normalize("NFKC", spaced.translate(_DASHES)).translate(_DASHES).upper()
    return " ".join(_INCH_MARK.sub(" ", plain).split())


def _metric(text: str, diameter: str, pitch: str | None) -> str:
    size = f"{Decimal(diameter).normalize():f}"
    step = METRIC_COARSE_PITCH_MM.get(size) if pitch is None else f"{Decimal(pitch).normalize():f}"
    if step is None:
        raise _not_understood(text, "This metric thread needs its pitch.")
    if not 0 < Decimal(step) < Decimal(size):
        raise _not_understood(text, "A metric thread's pitch is above 0 and below its diameter.")
    return f"M{size}x{step}"


def _unified(text: str, size: str, pitch: str) -> str:
    thread = _inches(text, size), _inches(text, pitch)
    named = [name for name, pairs in UNIFIED_SERIES.items() if thread in pairs]
    series = named[0] if named else "UN" if thread[1] in CONSTANT_PITCH else "UNS"
    return f"{_mixed(thread[0])}-{_decimal(thread[1])} {series}"


def _pipe(text: str, spelled: str, size: str, pitch: str | None) -> str:
    family = _PIPE_FAMILY[spelled]
    inches = _inches(text, size)
    right_pitch = PIPE_THREADS_PER_INCH[family].get(inches)
    if right_pitch is None:
        raise _not_understood(text, f"There is no {family} thread of this size.")
    if pitch is not None and _inches(text, pitch) != right_pitch:
        raise _not_understood(text, f"A {family} thread of this size has {_decimal(right_pitch)} threads per inch.")
    return f"{_mixed(inches)} {family}" if family.startswith("NPT") else f"{family}{_mixed(inches)}"


def _inches(text: str, size: str) -> Fraction:
    """The size as an exact fraction. "11/2" is refused: it is 5 1/2 by the rules and 1 1/2 by most who write it."""
    whole, _, part = size.replace("-", " ").rpartition(" ")
    if part.endswith(("/0", "/00")):
        raise _not_understood(text, "A size cannot be divided by 0.")
    fraction = Fraction(part)
    if "/" in part and fraction >= 1:
        raise _not_understood(text, "This fraction is not below 1; a space may be missing.")
    inches = (Fraction(whole) if whole else Fraction(0)) + fraction
    if inches <= 0 or 64 % inches.denominator:
        raise _not_understood(text, "A size in inches is a whole number of 64ths above 0.")
    return inches


def _mixed(inches: Fraction) -> str:
    whole, rest = divmod(inches, 1)
    return " ".join(str(part) for part in (whole, rest) if part)


def _decimal(pitch: Fraction) -> str:
    return f"{float(pitch):g}"


def _not_understood(text: str, message: str) -> QuestionError:
    return QuestionError(message, value=text, field="thread", remedy=UNDERSTOOD)
