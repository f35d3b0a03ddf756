"""A script as its author writes it: it names a store, asks, and prints. It is run without a network, and its types are
checked as strictly as our own."""

from __future__ import annotations

import sys

import pint

import specdb
from specdb.answers.decisions import CandidateShown

registry: pint.UnitRegistry[float] = pint.UnitRegistry()


def line_of(candidate: CandidateShown) -> str:
    element, margin = candidate.element, candidate.standing.smallest_margin
    return f"{candidate.rank} {element.maker} {element.number}" + ("" if margin is None else f" {margin:+.3f}")


def main(store: str) -> None:
    duty: specdb.Duty = {
        "flow": registry.Quantity(75, "L/min"),
        "fluid": {"grade": "ISO VG 46", "viscosity_index": 100},
        "operating_temperature_degc": 50,
        "require": [{"characteristic": "filtration_ratio", "at_least": 200, "size_um_c": 10}],
        "assumptions": "customary",
    }
    with specdb.open(store) as catalogue:
        ranked = catalogue.equivalents("Dulse 23", duty, limit=3)
        print(*map(line_of, ranked.candidates), sep="\n")
        print(ranked.frame()["rank"].max())
        best = catalogue.compare(ranked.candidates[:1], original="Dulse 23", duty=duty)
        sizes = [each.size.pint().to("mm").magnitude for each in best.requirements if each.size is not None]
        print(max(sizes))
        lines = catalogue.cross_check([{"line": 1, "original.number": "Dulse 23"}], duty, limit=1)
        print(lines.answered, lines.faulty)
        print(catalogue.calculate("filtration-ratio", efficiency="99.5 %").words)
        try:
            catalogue.element("Dulse 99")
        except specdb.NotOnFileError as error:
            print(error.problem["errors"][0]["pointer"])


if __name__ == "__main__":
    main(sys.argv[1])
