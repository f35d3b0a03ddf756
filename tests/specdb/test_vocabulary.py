"""Words of data sheets and of the trade."""

from __future__ import annotations

import pytest

from specdb.characteristics import BYPASSES, DROP_OF, FLUID_CLASSES, LOCATIONS, SEALS
from specdb.vocabulary import meant_of


@pytest.mark.parametrize(
    ("text", "choices", "meant"),
    [
        ("nitrile rubber", SEALS, 'Is "NBR" meant?'),
        ("hydrogenated nitrile", SEALS, 'Is "HNBR" meant?'),
        ("Ethylene-Propylene", SEALS, 'Is "EPDM" meant?'),
        ("water glycol", FLUID_CLASSES, 'Is "HFC" meant?'),
        ("HFC phosphate ester", FLUID_CLASSES, 'Is "HFC" meant?'),
        ("HLP", FLUID_CLASSES, 'Is "HM" meant?'),
        ("hv-lp", FLUID_CLASSES, 'Is "HV" meant?'),
        ("HL-P", FLUID_CLASSES, 'Is "HM" meant?'),
        ("mineral oil", FLUID_CLASSES, 'Is "HM" meant?'),
        ("in element", BYPASSES, 'Is "element" meant?'),
        ("no", BYPASSES, 'Is "none" meant?'),
        ("yes", DROP_OF, ""),  # a word of another list is not offered
        ("retrun", LOCATIONS, 'Is "return" meant?'),
        ("somewhere else", LOCATIONS, ""),
    ],
)
def test_a_word_of_the_trade_is_asked_back(text: str, choices: tuple[str, ...], meant: str) -> None:
    assert meant_of(text, choices) == meant
