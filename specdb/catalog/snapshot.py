"""The columnar view: one state of the catalogue as three tables of arrays with offsets.

``elements`` (sorted by maker and number), ``tests`` (each of one element and one source) and
``points`` (one result of a test each, sorted by characteristic, test, size and flow). Criteria are
written over these arrays; nothing here judges.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from specdb.bounds import BoolArray, FloatArray, IntArray, printed_slack
from specdb.catalog.facts import Row
from specdb.catalog.identity import search_key
from specdb.catalog.search import Entry, SearchIndex
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS, DUST_OF_STANDARD, SCALES, STANDARD_OF_SCALE
from specdb.errors import QuantityError
from specdb.trade.filtration import customary_beta, efficiency_band
from specdb.units import read_number, read_quantity

if TYPE_CHECKING:
    import pandas as pd  # loaded where a snapshot is built: to look one element up takes none

ObjectArray = NDArray[np.object_]

MEASURES = tuple(a.key for a in ATTRIBUTES.values() if a.kind == "length")
WORDS = tuple(a.key for a in ATTRIBUTES.values() if a.kind != "length")
TEXTS = tuple(a.key for a in ATTRIBUTES.values() if a.kind == "text")


@dataclass(frozen=True)
class Coded:
    """A column of words as numbers: ``codes`` index ``words``; -1 is unstated."""

    codes: IntArray
    words: tuple[str, ...]

    @classmethod
    def of(cls, column: pd.Series[Any]) -> Coded:
        import pandas as pd

        codes, words = pd.factorize(column.replace("", None), sort=True)
        return cls(codes.astype(np.int64), tuple(str(w) for w in words))

    def equals(self, word: str) -> BoolArray:
        if word not in self.words:
            return np.zeros(len(self.codes), bool)
        return np.asarray(self.codes == self.words.index(word))

    @property
    def stated(self) -> BoolArray:
        return np.asarray(self.codes >= 0)

    def word(self, row: int) -> str | None:
        code = int(self.codes[row])
        return self.words[code] if code >= 0 else None

    def lists(self, word: str) -> BoolArray:
        """Rows whose space-separated list names ``word``."""
        having = np.array([word in listed.split() for listed in self.words] + [False])
        return np.asarray(having[self.codes])


def _rows(columns: dict[str, Any], wanted: slice | IntArray) -> dict[str, Any]:
    """Those rows of a table's columns, and of tables within it."""

    def of(column: Any) -> Any:
        if isinstance(column, Coded):
            return Coded(column.codes[wanted], column.words)
        return _rows(column, wanted) if isinstance(column, dict) else column[wanted]

    return {name: of(column) for name, column in columns.items()}


@dataclass(frozen=True)
class Elements:
    """``measures`` are in mm, NaN where unstated, ``slacks`` the room that their printed digits give; ``words`` hold
    normalised words, and plain texts (series, successor) as typed; ``sources`` the source id of each attribute, -1
    for none."""

    element_id: ObjectArray
    maker: ObjectArray
    number: ObjectArray
    maker_key: ObjectArray
    number_key: ObjectArray
    search_key: ObjectArray
    measures: dict[str, FloatArray]
    slacks: dict[str, FloatArray]
    words: dict[str, Coded]
    sources: dict[str, IntArray]

    def __len__(self) -> int:
        return len(self.element_id)


@dataclass(frozen=True)
class Tests:
    """One row a test. Conditions that the test leaves unstated are NaN or code -1."""

    test_id: IntArray
    element: IntArray
    source_id: IntArray
    standard: Coded
    dust: Coded
    test_liquid: Coded
    drop_of: Coded
    capacity_basis: Coded
    laboratory: Coded
    terminal_pressure_drop_kpa: FloatArray
    cycle_pressure_kpa: FloatArray

    def __len__(self) -> int:
        return len(self.test_id)


@dataclass(frozen=True)
class Points:
    """One row a result. ``low`` and ``high`` are what it proves, ``estimate`` what it suggests.

    ``slack`` is the room its printed digits give, ``band`` half the width that they leave open (inf for "100 %").
    ``scale`` indexes ``SCALES``; it follows from the test's standard where ``scale_inferred``.
    """

    rating_id: IntArray
    test: IntArray
    element: IntArray
    qualifier: Coded
    value: FloatArray
    low: FloatArray
    high: FloatArray
    estimate: FloatArray
    slack: FloatArray
    band: FloatArray
    size_um: FloatArray
    scale: IntArray
    scale_inferred: BoolArray
    flow_l_min: FloatArray
    viscosity_mm2_s: FloatArray
    density_kg_m3: FloatArray

    def __len__(self) -> int:
        return len(self.value)

    def rows(self, wanted: slice | IntArray) -> Points:
        return Points(**_rows(vars(self), wanted))


@dataclass(frozen=True)
class Source:
    """The document that says so."""

    key: str
    title: str
    kind: str | None
    issuer: str | None
    revision: str | None
    date: str | None


Keys = tuple[str, str]
"""Identity keys of a maker and of a number."""


@dataclass(frozen=True)
class InterchangeClaim:
    """One number is claimed to replace another: somebody's word.

    ``row`` and ``replaces_row`` are rows of the elements, None where they do not hold that side; ``source_id`` is -1
    where no source is named.
    """

    maker: str
    number: str
    maker_key: str
    number_key: str
    replaces_maker: str
    replaces_number: str
    replaces_maker_key: str
    replaces_number_key: str
    source_id: int
    date: str | None
    remark: str | None
    row: int | None
    replaces_row: int | None

    @property
    def replacing(self) -> Keys:
        return self.maker_key, self.number_key

    @property
    def replaced(self) -> Keys:
        return self.replaces_maker_key, self.replaces_number_key

    def stated(self, sources: Mapping[int, Source]) -> Row:
        """The claim as a row of its table with the search keys and the source's key."""
        source = sources.get(self.source_id)
        return {
            **vars(self),
            "search_key": search_key(self.number),
            "replaces_search_key": search_key(self.replaces_number),
            "source": source.key if source else None,
        }


@dataclass(frozen=True)
class Snapshot:
    """``sources`` by source id; ``slices`` gives each characteristic's rows of ``points``. ``claims`` are in the order
    of the makers and numbers that replace. ``whole`` is the state that this is a view of some elements of, None where
    it is all."""

    revision: int
    elements: Elements
    tests: Tests
    points: Points
    slices: dict[str, slice]
    sources: dict[int, Source]
    claims: tuple[InterchangeClaim, ...] = ()
    whole: Snapshot | None = None

    @cached_property
    def numbers(self) -> SearchIndex:
        """The elements' numbers and those known from claims, to be searched: for those near one not on file."""
        elements = self.elements
        status = elements.words["status"]
        names = (elements.maker, elements.number, elements.maker_key, elements.number_key, elements.search_key)
        columns = (*names, elements.element_id, np.array([*status.words, None], dtype=object)[status.codes])
        entries = [Entry(*row) for row in zip(*columns, strict=True)]
        return SearchIndex.holding(entries, [claim.stated(self.sources) for claim in self.claims])

    @cached_property
    def judged_claims(self) -> dict[Hashable, Any]:
        """For ``specdb.advice.claims``, which keeps here what it has worked out: a state never changes."""
        return {}

    @cached_property
    def claims_to_replace(self) -> dict[Keys, list[InterchangeClaim]]:
        """Claims by the keys of what is replaced."""
        return _grouped(self.claims, lambda claim: claim.replaced)

    @cached_property
    def claims_of_replacing(self) -> dict[Keys, list[InterchangeClaim]]:
        """Claims by the keys of what replaces."""
        return _grouped(self.claims, lambda claim: claim.replacing)

    def of(self, characteristic: str) -> Points:
        return self.points.rows(self.slices[characteristic])

    @cached_property
    def rows_of_number(self) -> dict[str, list[int]]:
        """Rows of the elements of each number, by its identity key."""
        found: dict[str, list[int]] = {}
        for row, key in enumerate(self.elements.number_key):
            found.setdefault(key, []).append(row)
        return found

    @cached_property
    def _row_of_id(self) -> dict[str, int]:
        return {each: row for row, each in enumerate(self.elements.element_id)}

    def find(self, element_id: str) -> int | None:
        """Row of an element, None where this state of the catalogue does not hold it."""
        return self._row_of_id.get(element_id)

    def only(self, rows: IntArray) -> Snapshot:
        """The view of some elements alone, with their tests and points. ``rows`` are theirs, rising."""
        part = self.repeated(rows, tuple(self.slices))
        return replace(part, claims=self._claims_of(rows), whole=self.whole or self)

    def repeated(self, rows: IntArray, characteristics: Sequence[str]) -> Snapshot:
        """The elements of ``rows`` in that order, each as often as it stands there, to be judged on ``characteristics``
        alone: with their tests and those results, and without claims."""
        tests, copy_of_test = _gathered(self.tests.element, rows)
        shift = np.searchsorted(copy_of_test, np.arange(len(rows))) - np.searchsorted(self.tests.element, rows)
        points, copies, slices, total = [], [], {}, 0
        for key, each in self.slices.items():
            found, copy = _gathered(self.points.element[each], rows if key in characteristics else rows[:0])
            points.append(found + each.start)
            copies.append(copy)
            slices[key] = slice(total, total := total + len(found))
        kept_tests = _rows(vars(self.tests), tests) | {"element": copy_of_test}
        kept_points = _rows(vars(self.points), np.concatenate(points)) | {"element": np.concatenate(copies)}
        kept_points["test"] = kept_points["test"] + shift[kept_points["element"]]
        elements = Elements(**_rows(vars(self.elements), rows))
        return Snapshot(self.revision, elements, Tests(**kept_tests), Points(**kept_points), slices, self.sources)

    def _claims_of(self, rows: IntArray) -> tuple[InterchangeClaim, ...]:
        """Claims that name one of some elements, with the rows that these have among themselves."""
        elements, places = self.elements, {int(row): place for place, row in enumerate(rows)}
        found: dict[int, InterchangeClaim] = {}
        for row in places:
            keys = elements.maker_key[row], elements.number_key[row]
            naming = (*self.claims_to_replace.get(keys, ()), *self.claims_of_replacing.get(keys, ()))
            found.update((id(claim), claim) for claim in naming)

        def place(row: int | None) -> int | None:
            return None if row is None else places.get(row)

        return tuple(
            replace(claim, row=place(claim.row), replaces_row=place(claim.replaces_row))
            for claim in sorted(found.values(), key=lambda claim: (claim.replacing, claim.replaced))
        )


def _gathered(column: IntArray, rows: IntArray) -> tuple[IntArray, IntArray]:
    """Places in a rising column at which it holds each of ``rows``, one after another, and of which of them each is."""
    starts, ends = np.searchsorted(column, rows, "left"), np.searchsorted(column, rows, "right")
    counts = ends - starts
    of = np.repeat(np.arange(len(rows)), counts)
    return np.arange(len(of)) + np.repeat(starts - (np.cumsum(counts) - counts), counts), of


def _grouped(
    claims: Sequence[InterchangeClaim], keys: Callable[[InterchangeClaim], Keys]
) -> dict[Keys, list[InterchangeClaim]]:
    found: dict[Keys, list[InterchangeClaim]] = {}
    for claim in claims:
        found.setdefault(keys(claim), []).append(claim)
    return found


_ATTRIBUTE_COLUMNS = ["element_id", "name", "text", "number", "code", "source_id"]


def build_snapshot(
    revision: int,
    elements: pd.DataFrame,
    attributes: pd.DataFrame,
    tests: pd.DataFrame,
    ratings: pd.DataFrame,
    sources: dict[int, Source] | None = None,
    claims: pd.DataFrame | None = None,
) -> Snapshot:
    """Arrays from rows that are in force, with the columns of ``specdb.catalog.tables``.

    ``elements``: element_id, maker, number, maker_key, number_key, and search_key where it is known. ``attributes``:
    element_id, name, number, code, and text and source_id where they are known. ``tests`` and ``ratings``: as
    stored, in canonical units. ``claims``: interchange claims as stored.
    """
    import pandas as pd

    elements = elements.sort_values(["maker_key", "number_key"], kind="stable").reset_index(drop=True)
    row_of_element = pd.Series(elements.index, index=elements["element_id"])
    tests = tests.assign(element=tests["element_id"].map(row_of_element).astype("int64"))
    tests = tests.sort_values(["element", "id"], kind="stable").reset_index(drop=True)
    row_of_test = pd.Series(tests.index, index=tests["id"])
    points, slices = _points(ratings, tests, row_of_test)
    return Snapshot(
        revision,
        _elements(elements, attributes.reindex(columns=_ATTRIBUTE_COLUMNS), row_of_element),
        _tests(tests),
        points,
        slices,
        sources or {},
        () if claims is None else _claims(claims, elements),
    )


_CLAIM_COLUMNS = [f.name for f in fields(InterchangeClaim) if f.name not in ("row", "replaces_row")]


def _claims(claims: pd.DataFrame, elements: pd.DataFrame) -> tuple[InterchangeClaim, ...]:
    """In the order of the keys of what replaces, of what is replaced, and of entry."""
    import pandas as pd

    claims = claims.sort_values(
        ["maker_key", "number_key", "replaces_maker_key", "replaces_number_key", "id"], kind="stable"
    )
    claims = claims.assign(source_id=pd.to_numeric(claims["source_id"]).fillna(-1).astype("int64"))
    stated = [dict(zip(_CLAIM_COLUMNS, row, strict=True)) for row in claims[_CLAIM_COLUMNS].itertuples(index=False)]
    sides = [
        ((each["maker_key"], each["number_key"]), (each["replaces_maker_key"], each["replaces_number_key"]))
        for each in stated
    ]
    named = {keys for both in sides for keys in both}
    on_file = zip(elements["maker_key"], elements["number_key"], strict=True)
    rows = {keys: row for row, keys in enumerate(on_file) if keys in named}
    return tuple(
        InterchangeClaim(**each, row=rows.get(replacing), replaces_row=rows.get(replaced))
        for each, (replacing, replaced) in zip(stated, sides, strict=True)
    )


def _floats(column: pd.Series[Any]) -> FloatArray:
    import pandas as pd

    return pd.to_numeric(column).to_numpy(dtype=float, na_value=np.nan, copy=True)


def _elements(elements: pd.DataFrame, attributes: pd.DataFrame, row_of_element: pd.Series[Any]) -> Elements:
    import pandas as pd

    rows = attributes["element_id"].map(row_of_element).to_numpy(dtype=np.int64)
    names = attributes["name"].to_numpy(dtype=object)
    numbers = _floats(attributes["number"])
    slack = printed_slack(numbers, _printed_digits(attributes, numbers))
    codes = attributes["code"].where(~attributes["name"].isin(TEXTS), attributes["text"]).to_numpy(dtype=object)
    source_ids = pd.to_numeric(attributes["source_id"]).fillna(-1).to_numpy(dtype=np.int64)
    measures, slacks, words, sources = {}, {}, {}, {}
    for key in MEASURES:
        measures[key] = np.full(len(elements), np.nan)
        measures[key][rows[names == key]] = numbers[names == key]
        slacks[key] = np.zeros(len(elements))
        slacks[key][rows[names == key]] = slack[names == key]
    for key in WORDS:
        word = np.full(len(elements), None, dtype=object)
        word[rows[names == key]] = codes[names == key]
        words[key] = Coded.of(pd.Series(word, dtype=object))
    for key in ATTRIBUTES:
        sources[key] = np.full(len(elements), -1)
        sources[key][rows[names == key]] = source_ids[names == key]
    identity = {
        key: elements[key].to_numpy(dtype=object)
        for key in ("element_id", "maker", "number", "maker_key", "number_key")
    }
    if "search_key" in elements:
        identity["search_key"] = elements["search_key"].to_numpy(dtype=object)
    else:
        identity["search_key"] = np.array([search_key(n) for n in identity["number_key"]], dtype=object)
    return Elements(**identity, measures=measures, slacks=slacks, words=words, sources=sources)


def _printed_digits(attributes: pd.DataFrame, canonical: FloatArray) -> FloatArray:
    """Worth of the last printed digit of each measure, in mm; 0 where the text does not tell."""
    worth = np.zeros(len(attributes))
    known: dict[tuple[str, float], float] = {}
    texts = attributes["text"].to_numpy(dtype=object)
    for row in np.flatnonzero(np.isfinite(canonical)):
        measure = str(texts[row]), float(canonical[row])
        if measure not in known:
            known[measure] = _printed_digit(*measure)
        worth[row] = known[measure]
    return worth


def _printed_digit(text: str, canonical_mm: float) -> float:
    if "/" in text:
        return 0.0  # a fraction of an inch is meant as it stands
    with contextlib.suppress(QuantityError):
        return read_quantity(text, "length").resolution
    with contextlib.suppress(QuantityError):
        number = read_number(text)  # its unit stands in the heading
        return number.resolution * canonical_mm / number.value
    return 0.0


def _tests(tests: pd.DataFrame) -> Tests:
    standard = tests["standard"].astype(object)
    # A test to a standard was run with that standard's dust unless it says otherwise.
    dust = tests["dust"].astype(object).where(tests["dust"].notna(), standard.map(DUST_OF_STANDARD))
    return Tests(
        test_id=tests["id"].to_numpy(dtype=np.int64),
        element=tests["element"].to_numpy(dtype=np.int64),
        source_id=tests["source_id"].fillna(-1).to_numpy(dtype=np.int64),
        standard=Coded.of(standard),
        dust=Coded.of(dust),
        test_liquid=Coded.of(tests["test_liquid"].astype(object)),
        drop_of=Coded.of(tests["drop_of"].astype(object)),
        capacity_basis=Coded.of(tests["capacity_basis"].astype(object)),
        laboratory=Coded.of(tests["laboratory"].astype(object)),
        terminal_pressure_drop_kpa=_floats(tests["terminal_pressure_drop_kpa"]),
        cycle_pressure_kpa=_floats(tests["cycle_pressure_kpa"]),
    )


def _points(ratings: pd.DataFrame, tests: pd.DataFrame, row_of_test: pd.Series[Any]) -> tuple[Points, dict[str, slice]]:
    order = {key: place for place, key in enumerate(CHARACTERISTICS)}
    ratings = ratings.assign(
        test=ratings["test_id"].map(row_of_test).astype("int64"), place=ratings["characteristic"].map(order)
    )
    ratings = ratings.sort_values(["place", "test", "size_um", "flow_l_min", "id"], kind="stable", na_position="last")
    test = ratings["test"].to_numpy(dtype=np.int64)
    scale, inferred = _scales(ratings, tests, test)
    points = Points(
        rating_id=ratings["id"].to_numpy(dtype=np.int64),
        test=test,
        element=tests["element"].to_numpy(dtype=np.int64)[test],
        qualifier=Coded.of(ratings["qualifier"].astype(object)),
        size_um=_floats(ratings["size_um"]),
        scale=scale,
        scale_inferred=inferred,
        flow_l_min=_floats(ratings["flow_l_min"]),
        viscosity_mm2_s=_floats(ratings["viscosity_mm2_s"]),
        density_kg_m3=_floats(ratings["density_kg_m3"]),
        **_evidence(ratings),
    )
    places = ratings["place"].to_numpy(dtype=np.int64)
    starts = np.searchsorted(places, np.arange(len(order) + 1))
    return points, {key: slice(int(starts[p]), int(starts[p + 1])) for key, p in order.items()}


def _scales(ratings: pd.DataFrame, tests: pd.DataFrame, test: IntArray) -> tuple[IntArray, BoolArray]:
    """Scale of each size; where none is written it follows from the standard that the test names."""
    written = ratings["size_scale"].map({s: i for i, s in enumerate(SCALES)}).fillna(-1).to_numpy(dtype=np.int64)
    of_standard = {standard: SCALES.index(scale) for standard, scale in STANDARD_OF_SCALE.items()}
    following = tests["standard"].map(of_standard).fillna(-1).to_numpy(dtype=np.int64)[test]
    inferred = (written == SCALES.index("?")) & (following >= 0)
    return np.where(inferred, following, written), inferred


def _evidence(ratings: pd.DataFrame) -> dict[str, FloatArray]:
    """What each rating proves and suggests, from its qualifier and its printed digits."""
    value, resolution = _floats(ratings["value"]), _floats(ratings["resolution"])
    qualifier = ratings["qualifier"].to_numpy(dtype=object)
    low = np.where(np.isin(qualifier, ("equal", "at_least")), value, -np.inf)
    high = np.where(np.isin(qualifier, ("equal", "at_most")), value, np.inf)
    slack, band = printed_slack(value, resolution), resolution / 2
    # An efficiency printed without a customary pair is known to its digits only, and "100 %" not at all.
    efficiency, digit = _floats(ratings["efficiency_percent"]), _floats(ratings["efficiency_resolution"])
    for row in np.flatnonzero(np.isfinite(efficiency)):
        slack[row] = 0.0
        if efficiency[row] >= 100:
            low[row], high[row], band[row] = -np.inf, np.inf, np.inf
        elif qualifier[row] == "equal" and customary_beta(efficiency[row]) is None:
            low[row], high[row] = efficiency_band(efficiency[row], digit[row])
    return {"value": value, "low": low, "high": high, "estimate": value, "slack": slack, "band": band}
