from __future__ import annotations

import re
from itertools import product
from pathlib import Path

import pytest

from specdb.characteristics import FLUID_CLASSES, MEDIA, SEALS
from specdb.errors import ConditionsError
from specdb.trade.compatibility import (
    LEVEL_WORDS,
    LUBE_TECH,
    MEDIA_TABLE,
    MEMORY,
    NO_SOURCE,
    SEAL_TABLE,
    Cell,
    media_with,
    seal_with,
    zinc_with,
)
from specdb.trade.fluids import is_water_bearing

CELLS = {
    **{("seal", *pair): seal_with(*pair) for pair in product(SEALS, FLUID_CLASSES)},
    **{("media", *pair): media_with(*pair) for pair in product(MEDIA, FLUID_CLASSES)},
    **{("zinc", "zinc", fluid): zinc_with(fluid) for fluid in FLUID_CLASSES},
}


def test_the_table_is_of_the_vocabulary():
    assert set(SEAL_TABLE) == set(SEALS)
    assert set(MEDIA_TABLE) == set(MEDIA)
    assert {fluid for row in (*SEAL_TABLE.values(), *MEDIA_TABLE.values()) for fluid in row} <= set(FLUID_CLASSES)


def test_every_pair_has_an_answer_with_a_source():
    for pair, cell in CELLS.items():
        assert cell.level in LEVEL_WORDS, pair
        assert cell.source, pair
        assert (cell.source == NO_SOURCE) == (cell.level == "unknown"), pair
        assert cell.why or cell.level in ("unknown", "suitable"), pair


def test_what_is_remembered_may_warn_and_never_clears():
    suitable = {pair for pair, cell in CELLS.items() if cell.level == "suitable"}
    assert {CELLS[pair].source for pair in suitable if pair[1] != "none"} == {LUBE_TECH}
    assert {cell.level for cell in CELLS.values() if cell.source == MEMORY} == {"depends", "not_suitable"}


@pytest.mark.parametrize("fluid", FLUID_CLASSES)
def test_no_seal_is_never_attacked_and_a_material_of_no_table_is_unknown(fluid):
    assert seal_with("none", fluid).level == "suitable"
    assert seal_with("gutta-percha", fluid).level == media_with("felt", fluid).level == "unknown"


@pytest.mark.parametrize("fluid", FLUID_CLASSES)
def test_water_in_the_fluid_spoils_cellulose_water_absorbers_and_zinc(fluid):
    spoilt = [media_with("cellulose", fluid), media_with("water absorbing", fluid), zinc_with(fluid)]
    assert [cell.level == "not_suitable" for cell in spoilt] == [is_water_bearing(fluid)] * 3


def test_phosphate_ester_and_mineral_oil_spoil_each_other_s_seals():
    assert {seal_with(seal, "HFDR").level for seal in ("NBR", "HNBR", "PU")} == {"not_suitable"}
    assert {seal_with("EPDM", fluid).level for fluid in ("HH", "HM", "HV", "HETG", "HEPR")} == {"not_suitable"}
    assert seal_with("EPDM", "HFDR").level != "not_suitable"


def test_a_class_that_leaves_its_base_open_decides_nothing():
    for fluid, seal in product(("HS", "HFDU"), SEALS):
        assert seal_with(seal, fluid).level in (("suitable",) if seal == "none" else ("depends", "unknown"))


@pytest.mark.parametrize("ask", [lambda f: seal_with("NBR", f), lambda f: media_with("cellulose", f), zinc_with])
def test_an_unknown_class_is_refused(ask):
    with pytest.raises(ConditionsError, match="no such fluid class"):
        ask("HX")


def test_a_cell_in_words():
    assert Cell("not_suitable", MEMORY, "swells").words == "not suitable (swells; common practice, from memory)"
    assert Cell("unknown", NO_SOURCE).words == "unknown (no source at hand)"


# --- the table as the method prints it ------------------------------------------------------------

METHOD = (Path(__file__).parents[3] / "docs" / "method.md").read_text(encoding="utf-8")
SHORT = {"suitable": "suitable", "depends": "depends", "not_suitable": "not", "unknown": "?"}


def printed_table(first_heading: str) -> dict[tuple[str, str], str]:
    """Cells of the table of the method whose first column is headed so, by material and fluid class."""
    [table] = re.findall(rf"^\| {first_heading} \|.*(?:\n\|.*)*", METHOD, re.MULTILINE)
    head, _, *rows = ([cell.strip() for cell in line.strip("|").split("|")] for line in table.splitlines())
    return {
        (row[0], fluid): cell
        for row in rows
        for fluids, cell in zip(head[1:], row[1:], strict=True)
        for fluid in fluids.split()
    }


@pytest.mark.parametrize(("heading", "part"), [("seal", "seal"), ("media and zinc", "media")])
def test_the_method_prints_the_whole_table(heading, part):
    parts = {"seal": ("seal",), "media": ("media", "zinc")}[part]
    held = {
        (material, fluid): SHORT[cell.level] + ("¹" if cell.source == LUBE_TECH else "")
        for (of, material, fluid), cell in CELLS.items()
        if of in parts and material != "none"
    }
    assert printed_table(heading) == held


def test_the_method_says_why():
    for cell in set(CELLS.values()):
        assert cell.why in " ".join(METHOD.split())
