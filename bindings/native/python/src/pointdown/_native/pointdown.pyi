# What type checkers know of the generated half. Written by `cargo xtask bindings --bless` from the
# library itself, and held against it by the tests; not to be edited.

import builtins
import enum

class Backup:
    farm: str
    name: str | None
    records: int
    bytes: int
    made_ms: int | None
    def __init__(self, *, farm: str, name: str | None, records: int, bytes: int, made_ms: int | None) -> None: ...

class Baseline:
    rate: float
    dispersion: float
    uncertainty: float
    freedom: float
    def __init__(self, *, rate: float, dispersion: float, uncertainty: float, freedom: float) -> None: ...

class Between:
    least: int
    most: int
    def __init__(self, *, least: int, most: int) -> None: ...

class Bowl:
    litres: float
    room_c: float
    each_minutes: float
    egg_grams: float
    def __init__(self, *, litres: float, room_c: float, each_minutes: float, egg_grams: float) -> None: ...

class BowlUse:
    eggs: int
    end_c: float
    minutes: float
    ended_by_age: bool
    def __init__(self, *, eggs: int, end_c: float, minutes: float, ended_by_age: bool) -> None: ...

class CallBack:
    people: builtins.list[ToCall]
    runs: builtins.list[RunReached]
    standing: builtins.list[Standing]
    pulled: builtins.list[PulledReached]
    contradicting: builtins.list[str]
    said: builtins.list[str]
    cautions: builtins.list[str]
    def __init__(self, *, people: builtins.list[ToCall], runs: builtins.list[RunReached], standing: builtins.list[Standing], pulled: builtins.list[PulledReached], contradicting: builtins.list[str], said: builtins.list[str], cautions: builtins.list[str]) -> None: ...

class CancelToken:
    def __init__(self) -> None: ...
    def cancel(self) -> None: ...
    def is_cancelled(self) -> bool: ...

class Candled:
    record: str
    at_ms: int
    by: str | None
    found: dict[str, int]
    air_cell_mm: float | None
    before_packing: bool
    def __init__(self, *, record: str, at_ms: int, by: str | None, found: dict[str, int], air_cell_mm: float | None, before_packing: bool) -> None: ...

class Carrier:
    url: str
    token: str
    def __init__(self, *, url: str, token: str) -> None: ...

class CartonPrice:
    species: Species
    eggs_per_carton: int | None
    size: str | None
    cartons: int
    taken: str
    without_price: int
    mean: str | None
    lowest: str | None
    highest: str | None
    def __init__(self, *, species: Species, eggs_per_carton: int | None, size: str | None, cartons: int, taken: str, without_price: int, mean: str | None, lowest: str | None, highest: str | None) -> None: ...

class Cartoned:
    species: Species
    size: str
    eggs_per_carton: int
    cartons: int
    eggs: int
    def __init__(self, *, species: Species, size: str, eggs_per_carton: int, cartons: int, eggs: int) -> None: ...

class Check:
    records: int
    wrong: builtins.list[str]
    def __init__(self, *, records: int, wrong: builtins.list[str]) -> None: ...

class Choice:
    class KEEP(Choice):
        record: str
        field: str
        value_json: str
        def __init__(self, record: str, field: str, value_json: str) -> None: ...
    def is_keep(self) -> bool: ...
    class VOID(Choice):
        record: str
        def __init__(self, record: str) -> None: ...
    def is_void(self) -> bool: ...
    class RESTORE(Choice):
        void: str
        def __init__(self, void: str) -> None: ...
    def is_restore(self) -> bool: ...
    class BOTH_RIGHT(Choice):
        def __init__(self) -> None: ...
    def is_both_right(self) -> bool: ...
    class RECOUNT(Choice):
        place: Place
        lot: str
        def __init__(self, place: Place, lot: str) -> None: ...
    def is_recount(self) -> bool: ...
    class RECOUNT_ALL(Choice):
        place: Place
        species: Species
        def __init__(self, place: Place, species: Species) -> None: ...
    def is_recount_all(self) -> bool: ...
    class PULL_HELD(Choice):
        cartons: builtins.list[str]
        def __init__(self, cartons: builtins.list[str]) -> None: ...
    def is_pull_held(self) -> bool: ...
    class SHIFT(Choice):
        records: builtins.list[str]
        by_s: int
        def __init__(self, records: builtins.list[str], by_s: int) -> None: ...
    def is_shift(self) -> bool: ...
    class RETIRE(Choice):
        record: str
        def __init__(self, record: str) -> None: ...
    def is_retire(self) -> bool: ...
    class SEEN(Choice):
        def __init__(self) -> None: ...
    def is_seen(self) -> bool: ...

class ClassCount:
    _class: str
    eggs: int
    def __init__(self, *, _class: str, eggs: int) -> None: ...

class Classes:
    scheme: str
    counts: builtins.list[ClassCount]
    under: int
    source: str
    def __init__(self, *, scheme: str, counts: builtins.list[ClassCount], under: int, source: str) -> None: ...

class Comparison:
    name: str
    difference: float
    interval: Interval
    p_value: float
    more_than_luck: bool
    why: str
    def __init__(self, *, name: str, difference: float, interval: Interval, p_value: float, more_than_luck: bool, why: str) -> None: ...

class Conflict:
    field: str
    said: builtins.list[Said]
    def __init__(self, *, field: str, said: builtins.list[Said]) -> None: ...

class Cooled:
    record: str
    at_ms: int
    cooler: str | None
    air_c: float
    too_warm: bool | None
    def __init__(self, *, record: str, at_ms: int, cooler: str | None, air_c: float, too_warm: bool | None) -> None: ...

class CoopRow:
    coop: str
    name: str
    species: Species
    eggs: int | None
    floor_laid: int
    rounds: int
    days: Days
    def __init__(self, *, coop: str, name: str, species: Species, eggs: int | None, floor_laid: int, rounds: int, days: Days) -> None: ...

class Costs:
    feed: Spent
    feed_kg: float
    supplies: dict[str, Spent]
    gathered: int
    unknown_flock_days: int
    feed_kg_per_dozen: float | None
    feed_per_dozen: str | None
    supplies_per_dozen: str | None
    complete: bool
    def __init__(self, *, feed: Spent, feed_kg: float, supplies: dict[str, Spent], gathered: int, unknown_flock_days: int, feed_kg_per_dozen: float | None, feed_per_dozen: str | None, supplies_per_dozen: str | None, complete: bool) -> None: ...

class Count:
    of: CountOf
    eggs: int
    def __init__(self, *, of: CountOf, eggs: int) -> None: ...

class CountOf:
    class ONE_LOT(CountOf):
        lot: str
        def __init__(self, lot: str) -> None: ...
    def is_one_lot(self) -> bool: ...
    class WHOLE(CountOf):
        species: Species
        def __init__(self, species: Species) -> None: ...
    def is_whole(self) -> bool: ...

class Counted:
    of: CountOf
    expected: int
    counted: int
    difference: int
    by_lot: builtins.list[LotEggs]
    record: str
    explained_by: builtins.list[Finding]
    line: str | None
    def __init__(self, *, of: CountOf, expected: int, counted: int, difference: int, by_lot: builtins.list[LotEggs], record: str, explained_by: builtins.list[Finding], line: str | None) -> None: ...

class Days:
    known: int
    zero: int
    unknown: int
    def __init__(self, *, known: int, zero: int, unknown: int) -> None: ...

class Draft:
    event: Event
    at_ms: int | None
    by: str | None
    note: str | None
    def __init__(self, *, event: Event, at_ms: int | None = ..., by: str | None = ..., note: str | None = ...) -> None: ...

class Due:
    what: Task
    due_ms: int | None
    overdue: bool
    place: Place | None
    species: Species | None
    lot: str | None
    run: str | None
    code: str | None
    name: str | None
    eggs: int
    cartons: int
    age_minutes: int | None
    held: Share | None
    why: builtins.list[Reason]
    caution: str
    def __init__(self, *, what: Task, due_ms: int | None, overdue: bool, place: Place | None, species: Species | None, lot: str | None, run: str | None, code: str | None, name: str | None, eggs: int, cartons: int, age_minutes: int | None, held: Share | None, why: builtins.list[Reason], caution: str) -> None: ...

class EggOfLot:
    lot: str
    grams: float
    def __init__(self, *, lot: str, grams: float) -> None: ...

class EvenCarton:
    species: Species
    _class: str
    capacity: int
    eggs: builtins.list[int]
    net_grams: float
    range_grams: float
    def __init__(self, *, species: Species, _class: str, capacity: int, eggs: builtins.list[int], net_grams: float, range_grams: float) -> None: ...

class EvenCartons:
    cartons: builtins.list[EvenCarton]
    left_over: builtins.list[LeftOver]
    why: builtins.list[Reason]
    caution: str
    def __init__(self, *, cartons: builtins.list[EvenCarton], left_over: builtins.list[LeftOver], why: builtins.list[Reason], caution: str) -> None: ...

class Event:
    class GATHER(Event):
        coop: str
        species: Species
        count: int
        floor_laid: int | None
        def __init__(self, coop: str, species: Species, count: int, floor_laid: int | None = ...) -> None: ...
    def is_gather(self) -> bool: ...
    class CULL(Event):
        station: Station
        parts: builtins.list[LotEggs]
        reason: str
        used_for: str
        carton: str | None
        def __init__(self, station: Station, parts: builtins.list[LotEggs], reason: str, used_for: str, carton: str | None = ...) -> None: ...
    def is_cull(self) -> bool: ...
    class WASH(Event):
        parts: builtins.list[LotEggs]
        means: str
        cleaner: str | None
        egg_c: float | None
        water_start_c: float | None
        water_end_c: float | None
        rinse_c: float | None
        sanitiser_ppm: int | None
        minutes: float | None
        sink_cleaned: bool | None
        def __init__(self, parts: builtins.list[LotEggs], means: str, cleaner: str | None = ..., egg_c: float | None = ..., water_start_c: float | None = ..., water_end_c: float | None = ..., rinse_c: float | None = ..., sanitiser_ppm: int | None = ..., minutes: float | None = ..., sink_cleaned: bool | None = ...) -> None: ...
    def is_wash(self) -> bool: ...
    class CANDLE(Event):
        parts: builtins.list[LotEggs]
        found: dict[str, int]
        air_cell_mm: float | None
        def __init__(self, parts: builtins.list[LotEggs], found: dict[str, int], air_cell_mm: float | None = ...) -> None: ...
    def is_candle(self) -> bool: ...
    class WEIGH(Event):
        lot: str
        grams: builtins.list[float]
        def __init__(self, lot: str, grams: builtins.list[float]) -> None: ...
    def is_weigh(self) -> bool: ...
    class CARTON(Event):
        parts: builtins.list[LotEggs]
        from_station: Station
        species: Species
        eggs_per_carton: int
        cartons: int
        packed: str
        best_by: str | None
        size: str | None
        grade: str | None
        code: str | None
        def __init__(self, parts: builtins.list[LotEggs], from_station: Station, species: Species, eggs_per_carton: int, cartons: int, packed: str, best_by: str | None = ..., size: str | None = ..., grade: str | None = ..., code: str | None = ...) -> None: ...
    def is_carton(self) -> bool: ...
    class OUT(Event):
        way: str
        parts: builtins.list[LotEggs]
        carton: str | None
        cartons: int | None
        station: Station | None
        outlet: str | None
        to: str | None
        price: str | None
        def __init__(self, way: str, parts: builtins.list[LotEggs], carton: str | None = ..., cartons: int | None = ..., station: Station | None = ..., outlet: str | None = ..., to: str | None = ..., price: str | None = ...) -> None: ...
    def is_out(self) -> bool: ...
    class RECOUNT(Event):
        station: Station
        counted: int
        lot: str | None
        species: Species | None
        def __init__(self, station: Station, counted: int, lot: str | None = ..., species: Species | None = ...) -> None: ...
    def is_recount(self) -> bool: ...
    class HOLD(Event):
        first: str
        cause: str
        until: str | None
        coop: str | None
        species: Species | None
        given: str | None
        def __init__(self, first: str, cause: str, until: str | None = ..., coop: str | None = ..., species: Species | None = ..., given: str | None = ...) -> None: ...
    def is_hold(self) -> bool: ...
    class HEADCOUNT(Event):
        coop: str
        species: Species
        birds: int
        def __init__(self, coop: str, species: Species, birds: int) -> None: ...
    def is_headcount(self) -> bool: ...
    class READING(Event):
        cooler: str
        air_c: float
        def __init__(self, cooler: str, air_c: float) -> None: ...
    def is_reading(self) -> bool: ...
    class COOP(Event):
        name: str
        species: builtins.list[Species]
        def __init__(self, name: str, species: builtins.list[Species]) -> None: ...
    def is_coop(self) -> bool: ...
    class PERSON(Event):
        name: str
        def __init__(self, name: str) -> None: ...
    def is_person(self) -> bool: ...
    class COOLER(Event):
        name: str
        def __init__(self, name: str) -> None: ...
    def is_cooler(self) -> bool: ...
    class OUTLET(Event):
        name: str
        contact: str | None
        def __init__(self, name: str, contact: str | None = ...) -> None: ...
    def is_outlet(self) -> bool: ...
    class OTHER(Event):
        kind: str
        fields_json: str
        def __init__(self, kind: str, fields_json: str) -> None: ...
    def is_other(self) -> bool: ...

class Exchange:
    received: int
    sent: int
    waiting: int
    rounds: int
    def __init__(self, *, received: int, sent: int, waiting: int, rounds: int) -> None: ...

class Farm:
    def amend(self, record: str, set_json: str, why: str | None) -> Logged: ...
    def back_up(self, path: str) -> Backup: ...
    @classmethod
    def begin(cls, path: str, set_up: SetUp) -> Farm: ...
    def call_back(self, question: Question) -> CallBack: ...
    def call_back_page(self, question: Question, paper: Paper) -> Page: ...
    def carrier(self) -> Carrier | None: ...
    def check(self) -> Check: ...
    def costs(self, first: str, last: str) -> Costs: ...
    def day_sheet_page(self, first: str, last: str, paper: Paper) -> Page: ...
    def decide(self, tag: str, choice: int, counted: int | None) -> builtins.list[Logged]: ...
    def device(self) -> str | None: ...
    def even_cartons(self, species: Species, grams: builtins.list[float], sizes: builtins.list[int], step_down: bool) -> EvenCartons: ...
    def even_cartons_of(self, eggs: builtins.list[EggOfLot], sizes: builtins.list[int], step_down: bool) -> EvenCartons: ...
    def export_csv(self) -> builtins.bytes: ...
    def export_file(self) -> builtins.bytes: ...
    def find(self, kind: str, name: str) -> str: ...
    def find_carton(self, text: str) -> str: ...
    @classmethod
    def from_export(cls, path: str, file: builtins.bytes) -> Farm: ...
    def gather_sheet_page(self, coop: str | None, first: str, days: int, rounds: int, paper: Paper) -> Page: ...
    def id(self) -> str: ...
    def import_file(self, file: builtins.bytes) -> int: ...
    def import_table(self, file: builtins.bytes, map: str, dry: bool) -> TableReport: ...
    def invite(self) -> Invite: ...
    def join(self, url: str, code: str, device: str, cancel: CancelToken | None = ...) -> Exchange: ...
    def join_ask(self, code: str, device: str) -> str: ...
    @classmethod
    def join_new(cls, path: str, url: str, code: str, person: str, device: str) -> Farm: ...
    def joined(self, url: str, token: str) -> None: ...
    def label(self, carton: str) -> Label: ...
    def label_page(self, carton: str, stock: str | None, first_label: int, cartons: int | None) -> LabelPage: ...
    def list(self, filter: Filter) -> builtins.list[Row]: ...
    def listen(self, cancel: CancelToken, listener: Listener) -> None: ...
    def log(self, draft: Draft) -> Logged: ...
    def name(self) -> str | None: ...
    def name_device(self, name: str) -> str: ...
    def names(self) -> dict[str, str]: ...
    def news(self, after: int, most: int) -> News: ...
    def now(self) -> Now: ...
    def of_run(self, run: str, cartons: int) -> builtins.list[LotEggs]: ...
    def on_hand(self) -> builtins.list[OnHand]: ...
    @classmethod
    def open(cls, path: str) -> Farm: ...
    def orders(self, days: int) -> builtins.list[Orders]: ...
    def person(self) -> str | None: ...
    def record(self, record: str) -> Row | None: ...
    def record_count(self) -> int: ...
    def review(self) -> builtins.list[Finding]: ...
    def sheet(self, first: str, last: str) -> Sheet: ...
    def sheet_hash(self, first: str, last: str) -> str: ...
    def shut_down(self) -> None: ...
    def sink(self, sink: Sink) -> SinkAdvice | None: ...
    def span(self, first: str, last: str, scheme: str | None) -> Span: ...
    def status(self) -> Status: ...
    def stocktake(self, station: Station, counts: builtins.list[Count], at_ms: int | None = ...) -> Stocktake: ...
    def suggest(self, station: Station, species: Species, eggs: int | None) -> Suggestion: ...
    def sync(self, cancel: CancelToken | None) -> Exchange: ...
    def sync_anew(self) -> None: ...
    def sync_ask(self) -> builtins.bytes: ...
    def sync_hear(self, answer: builtins.bytes) -> Heard: ...
    @classmethod
    def take_in(cls, path: str, farm: str, url: str, token: str) -> Farm: ...
    def takings(self, first: str, last: str) -> Takings: ...
    def tidy(self) -> None: ...
    def today(self) -> str: ...
    def trace(self, code: str) -> builtins.list[Trail]: ...
    def trend_page(self, first: str, last: str, step: Step, coop: str | None, paper: Paper) -> Page: ...
    def trends(self, first: str, last: str, step: Step, coop: str | None) -> Trends: ...
    def undo(self, records: builtins.list[str], why: str) -> builtins.list[Logged]: ...
    def usual_paper(self) -> Paper: ...
    def void(self, record: str, why: str) -> Logged: ...
    def watch(self, listener: Listener | None) -> None: ...
    def write_as(self, person: str) -> None: ...
    def zone(self) -> str: ...

class FaultOfWash(enum.Enum):
    NOT_ALLOWED = 0
    LOSES_CLASS = 1
    EGG_TOO_COLD = 2
    WATER_TOO_COLD = 3
    WATER_TOO_HOT = 4
    RINSE_TOO_COLD = 5
    SANITISER_TOO_WEAK = 6
    SANITISER_TOO_STRONG = 7
    SOAKED = 8
    WATER_TOO_OLD = 9
    TOO_MANY_BASKETS = 10
    CLEANER = 11
    MEANS = 12
    SINK_NOT_CLEANED = 13
    NOT_MEASURED = 14

class Filter:
    kind: str | None
    first: str | None
    last: str | None
    all: bool
    most: int | None
    def __init__(self, *, kind: str | None = ..., first: str | None = ..., last: str | None = ..., all: bool = ..., most: int | None = ...) -> None: ...

class Finding:
    tag: str
    line: str
    what: What
    weight: Weight
    since_ms: int
    people: builtins.list[str]
    records: builtins.list[str]
    choices: builtins.list[Choice]
    def __init__(self, *, tag: str, line: str, what: What, weight: Weight, since_ms: int, people: builtins.list[str], records: builtins.list[str], choices: builtins.list[Choice]) -> None: ...

class FlockDay:
    coop: str
    name: str
    species: Species
    eggs: int | None
    rounds: int
    birds: int | None
    hen_day_percent: float | None
    def __init__(self, *, coop: str, name: str, species: Species, eggs: int | None, rounds: int, birds: int | None, hen_day_percent: float | None) -> None: ...

class Forecast:
    baseline: Baseline
    days: builtins.list[ForecastDay]
    orders: builtins.list[OrderChance]
    all_orders_chance: float
    def __init__(self, *, baseline: Baseline, days: builtins.list[ForecastDay], orders: builtins.list[OrderChance], all_orders_chance: float) -> None: ...

class ForecastDay:
    day: int
    eggs: float
    eggs_least: int
    eggs_most: int
    cartons_least: int
    cartons_most: int
    def __init__(self, *, day: int, eggs: float, eggs_least: int, eggs_most: int, cartons_least: int, cartons_most: int) -> None: ...

class Gathered:
    eggs: int
    floor_laid: int
    by_coop: builtins.list[CoopRow]
    by_species: dict[Species, int]
    by_person: dict[str, int]
    def __init__(self, *, eggs: int, floor_laid: int, by_coop: builtins.list[CoopRow], by_species: dict[Species, int], by_person: dict[str, int]) -> None: ...

class GoneTo:
    record: str
    who: str
    def __init__(self, *, record: str, who: str) -> None: ...

class Heard:
    changes: int
    again: bool
    def __init__(self, *, changes: int, again: bool) -> None: ...

class Here:
    place: Place
    species: Species
    lot: str | None
    run: str | None
    code: str | None
    eggs: int
    cartons: int
    laid_ms: int
    age_minutes: int
    held: Share | None
    holds: builtins.list[str]
    def __init__(self, *, place: Place, species: Species, lot: str | None, run: str | None, code: str | None, eggs: int, cartons: int, laid_ms: int, age_minutes: int, held: Share | None, holds: builtins.list[str]) -> None: ...

class HoldBehind:
    record: str
    cause: str
    given: str | None
    coop: str | None
    first: str
    until: str | None
    share: Share
    def __init__(self, *, record: str, cause: str, given: str | None, coop: str | None, first: str, until: str | None, share: Share) -> None: ...

class Interval:
    low: float
    high: float
    def __init__(self, *, low: float, high: float) -> None: ...

class Invite:
    url: str
    code: str
    link: str
    def __init__(self, *, url: str, code: str, link: str) -> None: ...

class Label:
    lines: builtins.list[LabelLine]
    cautions: builtins.list[str]
    def __init__(self, *, lines: builtins.list[LabelLine], cautions: builtins.list[str]) -> None: ...

class LabelLine:
    text: str
    required: bool
    why: Reason
    def __init__(self, *, text: str, required: bool, why: Reason) -> None: ...

class LabelPage:
    page: Page
    sheets: int
    labels_per_carton: int
    next_free: int | None
    cautions: builtins.list[str]
    def __init__(self, *, page: Page, sheets: int, labels_per_carton: int, next_free: int | None, cautions: builtins.list[str]) -> None: ...

class Laying:
    coop: str | None
    name: str
    species: Species
    eggs: int | None
    days: Days
    hen_days: int
    eggs_of_hen_days: int
    days_without_birds: int
    hen_day_percent: float | None
    def __init__(self, *, coop: str | None, name: str, species: Species, eggs: int | None, days: Days, hen_days: int, eggs_of_hen_days: int, days_without_birds: int, hen_day_percent: float | None) -> None: ...

class LeftOver:
    egg: int
    why: str
    def __init__(self, *, egg: int, why: str) -> None: ...

class Listener:
    def newer(self) -> None: ...

class ListenerError(Exception):
    text: str
    class Failed(ListenerError):
        text: str
        def __init__(self, text: str) -> None: ...

class Logged:
    id: str
    record: Row
    def __init__(self, *, id: str, record: Row) -> None: ...

class LotEggs:
    lot: str
    eggs: int
    def __init__(self, *, lot: str, eggs: int) -> None: ...

class Mark(enum.Enum):
    SEEN = 0
    MEMORY = 1
    COMMON_PRACTICE = 2
    HOUSE = 3

class Means(enum.Enum):
    DRY = 0
    SPRAY = 1
    BRUSH = 2
    CLOTH = 3
    PAPER_TOWEL = 4
    SPONGE = 5
    BASIN = 6

class Misdating(enum.Enum):
    FUTURE = 0
    BEFORE_PACKING = 1
    BEFORE_GATHERING = 2

class News:
    notices: builtins.list[Notice]
    after: int
    more: bool
    missed: bool
    def __init__(self, *, notices: builtins.list[Notice], after: int, more: bool, missed: bool) -> None: ...

class NotToTouch:
    lot: str | None
    run: str | None
    eggs: int
    held: Share
    holds: builtins.list[str]
    def __init__(self, *, lot: str | None, run: str | None, eggs: int, held: Share, holds: builtins.list[str]) -> None: ...

class Notice:
    number: int
    record: str
    here: bool
    def __init__(self, *, number: int, record: str, here: bool) -> None: ...

class Now:
    at_ms: int
    rules: str | None
    here: builtins.list[Here]
    due: builtins.list[Due]
    caution: str
    def __init__(self, *, at_ms: int, rules: str | None, here: builtins.list[Here], due: builtins.list[Due], caution: str) -> None: ...

class OnHand:
    station: Place
    species: Species
    eggs: int
    lots: builtins.list[LotEggs]
    def __init__(self, *, station: Place, species: Species, eggs: int, lots: builtins.list[LotEggs]) -> None: ...

class OrderChance:
    day: int
    needed: int
    chance: float
    at_least: int
    promised: bool
    why: str
    caution: str
    def __init__(self, *, day: int, needed: int, chance: float, at_least: int, promised: bool, why: str, caution: str) -> None: ...

class Orders:
    species: Species
    standing: builtins.list[StandingOrder]
    on_hand: int
    enough_now: bool
    first: str
    forecast: Forecast | None
    why_not: str | None
    def __init__(self, *, species: Species, standing: builtins.list[StandingOrder], on_hand: int, enough_now: bool, first: str, forecast: Forecast | None, why_not: str | None) -> None: ...

class OutReached:
    record: str
    at_ms: int
    way: str
    outlet: str | None
    who: str | None
    run: str | None
    code: str | None
    cartons: int | None
    eggs: int
    share: Share
    def __init__(self, *, record: str, at_ms: int, way: str, outlet: str | None, who: str | None, run: str | None, code: str | None, cartons: int | None, eggs: int, share: Share) -> None: ...

class OutTotals:
    eggs: dict[str, int]
    cartons: dict[str, int]
    def __init__(self, *, eggs: dict[str, int], cartons: dict[str, int]) -> None: ...

class Page:
    title: str
    html: str
    policy: str
    def __init__(self, *, title: str, html: str, policy: str) -> None: ...

class Paper(enum.Enum):
    A4 = 0
    LETTER = 1

class Permission(enum.Enum):
    ALLOWED = 0
    LOSES_CLASS = 1
    FORBIDDEN = 2

class Place(enum.Enum):
    NEST = 0
    BASKET = 1
    CLEAN = 2
    CARTONED = 3
    OUT = 4
    PULLED = 5
    UNACCOUNTED = 6

class PointdownError(Exception):
    text: str
    class Invalid(PointdownError):
        text: str
        field: str | None
        value: str | None
        allowed: str | None
        def __init__(self, text: str, field: str | None, value: str | None, allowed: str | None) -> None: ...
    class NotFound(PointdownError):
        text: str
        def __init__(self, text: str) -> None: ...
    class Ambiguous(PointdownError):
        text: str
        def __init__(self, text: str) -> None: ...
    class InUse(PointdownError):
        text: str
        def __init__(self, text: str) -> None: ...
    class DiskFull(PointdownError):
        text: str
        def __init__(self, text: str) -> None: ...
    class Storage(PointdownError):
        text: str
        def __init__(self, text: str) -> None: ...
    class Damaged(PointdownError):
        text: str
        def __init__(self, text: str) -> None: ...
    class TooNew(PointdownError):
        text: str
        def __init__(self, text: str) -> None: ...
    class OtherFarm(PointdownError):
        text: str
        def __init__(self, text: str) -> None: ...
    class Network(PointdownError):
        text: str
        def __init__(self, text: str) -> None: ...
    class Refused(PointdownError):
        text: str
        def __init__(self, text: str) -> None: ...
    class NotJoined(PointdownError):
        text: str
        def __init__(self, text: str) -> None: ...
    class Cancelled(PointdownError):
        text: str
        def __init__(self, text: str) -> None: ...
    class Closed(PointdownError):
        text: str
        def __init__(self, text: str) -> None: ...
    class Other(PointdownError):
        text: str
        def __init__(self, text: str) -> None: ...

class Pulled:
    eggs: int
    by_reason: dict[str, int]
    by_use: dict[str, int]
    def __init__(self, *, eggs: int, by_reason: dict[str, int], by_use: dict[str, int]) -> None: ...

class PulledReached:
    record: str
    at_ms: int
    used_for: str | None
    eggs: int
    share: Share
    def __init__(self, *, record: str, at_ms: int, used_for: str | None, eggs: int, share: Share) -> None: ...

class Question:
    class COOP(Question):
        first: str
        last: str
        coop: str | None
        species: Species | None
        def __init__(self, first: str, last: str, coop: str | None = ..., species: Species | None = ...) -> None: ...
    def is_coop(self) -> bool: ...
    class RECORD(Question):
        record: str
        def __init__(self, record: str) -> None: ...
    def is_record(self) -> bool: ...

class Rate:
    eggs: int
    hen_days: int
    per_hen_day: float
    interval: Interval | None
    def __init__(self, *, eggs: int, hen_days: int, per_hen_day: float, interval: Interval | None) -> None: ...

class Reason:
    rule: str
    source: str
    mark: Mark
    def __init__(self, *, rule: str, source: str, mark: Mark) -> None: ...

class Round:
    record: str
    at_ms: int
    by: str | None
    coop: str | None
    species: Species
    count: int
    share: Share
    def __init__(self, *, record: str, at_ms: int, by: str | None, coop: str | None, species: Species, count: int, share: Share) -> None: ...

class Row:
    id: str
    kind: str
    at_ms: int
    day: str
    standing: str
    why: str | None
    fields_json: str
    conflicts: builtins.list[Conflict]
    problem: str | None
    unknown: builtins.list[str]
    def __init__(self, *, id: str, kind: str, at_ms: int, day: str, standing: str, why: str | None, fields_json: str, conflicts: builtins.list[Conflict], problem: str | None, unknown: builtins.list[str]) -> None: ...

class RowFailure:
    row: int
    why: str
    def __init__(self, *, row: int, why: str) -> None: ...

class Run:
    record: str
    code: str | None
    at_ms: int
    packed: str
    best_by: str | None
    by: str | None
    species: Species
    size: str | None
    eggs_per_carton: int
    cartons: int
    lots: builtins.list[LotEggs]
    def __init__(self, *, record: str, code: str | None, at_ms: int, packed: str, best_by: str | None, by: str | None, species: Species, size: str | None, eggs_per_carton: int, cartons: int, lots: builtins.list[LotEggs]) -> None: ...

class RunCartons:
    run: str
    cartons: int
    def __init__(self, *, run: str, cartons: int) -> None: ...

class RunReached:
    run: Run
    share: Share
    left: Between
    cartons_left: int
    def __init__(self, *, run: Run, share: Share, left: Between, cartons_left: int) -> None: ...

class Said:
    record: str
    value_json: str
    def __init__(self, *, record: str, value_json: str) -> None: ...

class SetUp:
    name: str
    zone: str
    person: str
    device: str
    more_json: str | None
    def __init__(self, *, name: str, zone: str, person: str, device: str, more_json: str | None = ...) -> None: ...

class Share(enum.Enum):
    ALL = 0
    MAY = 1

class Sheet:
    first: str
    last: str
    gathered: Gathered
    pulled: Pulled
    washed: dict[str, int]
    candled: dict[str, int]
    cartoned: builtins.list[Cartoned]
    out: OutTotals
    unaccounted: dict[Species, int]
    mean_grams: dict[Species, float]
    on_hand: builtins.list[OnHand]
    def __init__(self, *, first: str, last: str, gathered: Gathered, pulled: Pulled, washed: dict[str, int], candled: dict[str, int], cartoned: builtins.list[Cartoned], out: OutTotals, unaccounted: dict[Species, int], mean_grams: dict[Species, float], on_hand: builtins.list[OnHand]) -> None: ...

class Sink:
    species: Species
    means: Means
    egg_c: float
    water_c: float | None
    water_end_c: float | None
    rinse_c: float | None
    sanitiser_ppm: float | None
    minutes: float | None
    sink_cleaned: bool | None
    bowl: Bowl | None
    def __init__(self, *, species: Species, means: Means, egg_c: float, water_c: float | None = ..., water_end_c: float | None = ..., rinse_c: float | None = ..., sanitiser_ppm: float | None = ..., minutes: float | None = ..., sink_cleaned: bool | None = ..., bowl: Bowl | None = ...) -> None: ...

class SinkAdvice:
    rules: str
    permission: Permission
    window: WaterWindow | None
    temper_c: float | None
    verdict: Verdict
    capacity: BowlUse | None
    faults: builtins.list[WashFault]
    why: builtins.list[Reason]
    caution: str
    def __init__(self, *, rules: str, permission: Permission, window: WaterWindow | None, temper_c: float | None, verdict: Verdict, capacity: BowlUse | None, faults: builtins.list[WashFault], why: builtins.list[Reason], caution: str) -> None: ...

class Span:
    by_day: builtins.list[SpanDay]
    laying: builtins.list[Laying]
    laying_by_species: builtins.list[Laying]
    weights: builtins.list[Weighed]
    caution: str
    def __init__(self, *, by_day: builtins.list[SpanDay], laying: builtins.list[Laying], laying_by_species: builtins.list[Laying], weights: builtins.list[Weighed], caution: str) -> None: ...

class SpanDay:
    day: str
    eggs: int | None
    flocks: builtins.list[FlockDay]
    mean_grams: dict[Species, float]
    def __init__(self, *, day: str, eggs: int | None, flocks: builtins.list[FlockDay], mean_grams: dict[Species, float]) -> None: ...

class Species(enum.Enum):
    HEN = 0
    DUCK = 1
    GOOSE = 2
    TURKEY = 3
    GUINEA = 4
    QUAIL = 5

class Spent:
    cost: str
    records: int
    without_cost: int
    def __init__(self, *, cost: str, records: int, without_cost: int) -> None: ...

class Standing:
    place: Place
    lot: str
    eggs: int
    share: Share
    def __init__(self, *, place: Place, lot: str, eggs: int, share: Share) -> None: ...

class StandingOrder:
    outlet: str
    name: str
    day: str
    species: Species
    cartons: int
    eggs_per_carton: int
    def __init__(self, *, outlet: str, name: str, day: str, species: Species, cartons: int, eggs_per_carton: int) -> None: ...

class Station(enum.Enum):
    BASKET = 0
    CLEAN = 1
    CARTONED = 2

class Status:
    server: str | None
    waiting: int
    heard_at_ms: int | None
    offset_ms: int | None
    agreed: bool
    refused: builtins.list[str]
    def __init__(self, *, server: str | None, waiting: int, heard_at_ms: int | None, offset_ms: int | None, agreed: bool, refused: builtins.list[str]) -> None: ...

class Step(enum.Enum):
    DAY = 0
    WEEK = 1
    MONTH = 2
    YEAR = 3

class Stocktake:
    station: Station
    at_ms: int
    counted: builtins.list[Counted]
    not_counted: builtins.list[LotEggs]
    def __init__(self, *, station: Station, at_ms: int, counted: builtins.list[Counted], not_counted: builtins.list[LotEggs]) -> None: ...

class Suggestion:
    place: Place
    species: Species
    take: builtins.list[Take]
    eggs: int
    short: int
    not_to_touch: builtins.list[NotToTouch]
    why: builtins.list[Reason]
    caution: str
    def __init__(self, *, place: Place, species: Species, take: builtins.list[Take], eggs: int, short: int, not_to_touch: builtins.list[NotToTouch], why: builtins.list[Reason], caution: str) -> None: ...

class TableReport:
    read: int
    added: int
    skipped: int
    errors: builtins.list[RowFailure]
    def __init__(self, *, read: int, added: int, skipped: int, errors: builtins.list[RowFailure]) -> None: ...

class Take:
    lot: str | None
    run: str | None
    code: str | None
    eggs: int
    laid_ms: int
    def __init__(self, *, lot: str | None, run: str | None, code: str | None, eggs: int, laid_ms: int) -> None: ...

class Taken:
    taken: str
    paid_back: str
    sales: int
    sales_without_price: int
    sold: int
    sold_without_price: int
    cartons: int
    given: int
    eaten: int
    returned: int
    per_dozen: str | None
    def __init__(self, *, taken: str, paid_back: str, sales: int, sales_without_price: int, sold: int, sold_without_price: int, cartons: int, given: int, eaten: int, returned: int, per_dozen: str | None) -> None: ...

class TakenFrom:
    who: str | None
    taken: Taken
    def __init__(self, *, who: str | None, taken: Taken) -> None: ...

class Takings:
    first: str
    last: str
    currency: str | None
    all: Taken
    by_outlet: builtins.list[TakenFrom]
    cartons: builtins.list[CartonPrice]
    def __init__(self, *, first: str, last: str, currency: str | None, all: Taken, by_outlet: builtins.list[TakenFrom], cartons: builtins.list[CartonPrice]) -> None: ...

class Task(enum.Enum):
    SET_APART = 0
    COOLER = 1
    CHILL = 2
    WASH = 3
    CANDLE = 4
    PACK = 5
    SELL = 6
    BEST_BY = 7
    HOLD_ENDS = 8
    BRUSH = 9

class ToCall:
    who: str | None
    contact: str | None
    share: Share
    cartons: int
    eggs: int
    returned: int
    outs: builtins.list[OutReached]
    def __init__(self, *, who: str | None, contact: str | None, share: Share, cartons: int, eggs: int, returned: int, outs: builtins.list[OutReached]) -> None: ...

class Trail:
    run: Run
    rounds: builtins.list[Round]
    of_unknown_round: bool
    coops: builtins.list[str]
    people: builtins.list[str]
    washes: builtins.list[Washed]
    candlings: builtins.list[Candled]
    holds: builtins.list[HoldBehind]
    readings: builtins.list[Cooled]
    outs: builtins.list[OutReached]
    left: Between
    contradicting: builtins.list[str]
    said: builtins.list[str]
    def __init__(self, *, run: Run, rounds: builtins.list[Round], of_unknown_round: bool, coops: builtins.list[str], people: builtins.list[str], washes: builtins.list[Washed], candlings: builtins.list[Candled], holds: builtins.list[HoldBehind], readings: builtins.list[Cooled], outs: builtins.list[OutReached], left: Between, contradicting: builtins.list[str], said: builtins.list[str]) -> None: ...

class Trend:
    coop: str | None
    name: str
    species: Species
    spans: builtins.list[TrendSpan]
    changes: builtins.list[Comparison]
    watch: Watch | None
    def __init__(self, *, coop: str | None, name: str, species: Species, spans: builtins.list[TrendSpan], changes: builtins.list[Comparison], watch: Watch | None) -> None: ...

class TrendSpan:
    label: str
    first: str
    last: str
    days: Days
    after_gap: int
    eggs: int | None
    floor_laid: int
    rate: Rate | None
    pulled: dict[str, int]
    def __init__(self, *, label: str, first: str, last: str, days: Days, after_gap: int, eggs: int | None, floor_laid: int, rate: Rate | None, pulled: dict[str, int]) -> None: ...

class Trends:
    first: str
    last: str
    step: Step
    species: builtins.list[Trend]
    flocks: builtins.list[Trend]
    confidence: float
    caution: str
    def __init__(self, *, first: str, last: str, step: Step, species: builtins.list[Trend], flocks: builtins.list[Trend], confidence: float, caution: str) -> None: ...

class Verdict(enum.Enum):
    RIGHT = 0
    COLD = 1
    HOT = 2
    UNKNOWN = 3

class WashDone:
    parts: builtins.list[LotEggs]
    means: str
    cleaner: str | None
    egg_c: float | None
    water_start_c: float | None
    water_end_c: float | None
    rinse_c: float | None
    sanitiser_ppm: int | None
    minutes: float | None
    sink_cleaned: bool | None
    def __init__(self, *, parts: builtins.list[LotEggs], means: str, cleaner: str | None, egg_c: float | None, water_start_c: float | None, water_end_c: float | None, rinse_c: float | None, sanitiser_ppm: int | None, minutes: float | None, sink_cleaned: bool | None) -> None: ...

class WashFault:
    what: FaultOfWash
    why: builtins.list[Reason]
    caution: str
    def __init__(self, *, what: FaultOfWash, why: builtins.list[Reason], caution: str) -> None: ...

class Washed:
    record: str
    at_ms: int
    by: str | None
    wash: WashDone
    share: Share
    def __init__(self, *, record: str, at_ms: int, by: str | None, wash: WashDone, share: Share) -> None: ...

class Watch:
    alarm: bool | None
    since: str | None
    why: builtins.list[str]
    caution: str
    def __init__(self, *, alarm: bool | None, since: str | None, why: builtins.list[str], caution: str) -> None: ...

class WaterWindow:
    low_c: float
    high_c: float | None
    def __init__(self, *, low_c: float, high_c: float | None) -> None: ...

class Weighed:
    coop: str | None
    name: str
    species: Species
    eggs: int
    mean_grams: float
    least_grams: float
    most_grams: float
    classes: builtins.list[Classes]
    def __init__(self, *, coop: str | None, name: str, species: Species, eggs: int, mean_grams: float, least_grams: float, most_grams: float, classes: builtins.list[Classes]) -> None: ...

class Weight(enum.Enum):
    URGENT = 0
    SOON = 1
    NOTE = 2

class What:
    class HELD_EGGS(What):
        on_shelf: builtins.list[RunCartons]
        gone: builtins.list[GoneTo]
        certain: bool
        def __init__(self, on_shelf: builtins.list[RunCartons], gone: builtins.list[GoneTo], certain: bool) -> None: ...
    def is_held_eggs(self) -> bool: ...
    class OVERDRAW(What):
        place: Place
        lot: str
        eggs: int
        def __init__(self, place: Place, lot: str, eggs: int) -> None: ...
    def is_overdraw(self) -> bool: ...
    class DOUBLE_LOG(What):
        one: int
        other: int
        def __init__(self, one: int, other: int) -> None: ...
    def is_double_log(self) -> bool: ...
    class BOTH_VOIDED(What):
        def __init__(self) -> None: ...
    def is_both_voided(self) -> bool: ...
    class DISAGREEMENT(What):
        field: str
        said: builtins.list[Said]
        def __init__(self, field: str, said: builtins.list[Said]) -> None: ...
    def is_disagreement(self) -> bool: ...
    class AMENDED_AND_VOIDED(What):
        def __init__(self) -> None: ...
    def is_amended_and_voided(self) -> bool: ...
    class DOES_NOT_ADD_UP(What):
        problem: str
        def __init__(self, problem: str) -> None: ...
    def is_does_not_add_up(self) -> bool: ...
    class CLOCK_OFF(What):
        shift_s: int
        def __init__(self, shift_s: int) -> None: ...
    def is_clock_off(self) -> bool: ...
    class MISDATED(What):
        how: Misdating
        cause: str | None
        def __init__(self, how: Misdating, cause: str | None) -> None: ...
    def is_misdated(self) -> bool: ...
    class COUNT_OVERTAKEN(What):
        counted: int
        then: int
        now: int
        def __init__(self, counted: int, then: int, now: int) -> None: ...
    def is_count_overtaken(self) -> bool: ...
    class STOCKTAKE(What):
        by: str | None
        place: Place
        species: Species
        lot: str | None
        counted: int
        booked: int
        by_lot: builtins.list[LotEggs]
        def __init__(self, by: str | None, place: Place, species: Species, lot: str | None, counted: int, booked: int, by_lot: builtins.list[LotEggs]) -> None: ...
    def is_stocktake(self) -> bool: ...
    class FARM_VOIDED(What):
        why: str
        def __init__(self, why: str) -> None: ...
    def is_farm_voided(self) -> bool: ...
    class BREACH(What):
        rule: str
        why: str
        def __init__(self, rule: str, why: str) -> None: ...
    def is_breach(self) -> bool: ...
    class SAME_NAME(What):
        name: str
        def __init__(self, name: str) -> None: ...
    def is_same_name(self) -> bool: ...
    class RETIRED_USE(What):
        species: Species
        def __init__(self, species: Species) -> None: ...
    def is_retired_use(self) -> bool: ...
    class CANNOT_READ(What):
        why: str
        def __init__(self, why: str) -> None: ...
    def is_cannot_read(self) -> bool: ...

def library_version() -> str: ...

def restore(backup: str, path: str) -> Backup: ...

def verify_backup(path: str) -> Backup: ...
