"""Random carriers, places, air and logs for the tests of the calculation."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from hypothesis import strategies as st

from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.facts import AirSettings, CarrierFacts, Dated, MakerBake, PartFacts, Policies
from msdtrack.exposure.places import Places
from msdtrack.standard.levels import LEVELS
from tests.exposure.histories import T0, carrier, part
from tests.exposure.slow_air import World

KINDS = {
    "floor": "floor",
    "line": "line",
    "cabinet": "cabinet",
    "tower": "cabinet",
    "oven": "oven",
}
ROOMS = ("floor", "line")
CABINETS = ("cabinet", "tower")
SEALED_ON = date(2026, 9, 1)

Reading = tuple[int, int, int]


@dataclass(frozen=True)
class Grid:
    """Steps of time: all moments of one history are whole steps after T0."""

    step_s: int

    def span(self, *hours: float) -> st.SearchStrategy[int]:
        """Return seconds: a few steps, or about one of the given hours."""
        some = [max(1, round(h * 3600 / self.step_s)) for h in hours]
        near = [n + more for n in some for more in (-1, 0, 0, 1) if n + more > 0]
        return st.sampled_from(near).map(lambda n: n * self.step_s)


GRIDS = st.sampled_from([Grid(60), Grid(300), Grid(900)])


@dataclass(frozen=True)
class Likely:
    """What is drawn more often, so that the deeper rules are reached."""

    levels: tuple[str, ...]
    bodies: tuple[float | None, ...]
    in_bag: tuple[str, ...]
    in_air: tuple[str, ...]
    in_oven: tuple[str, ...]
    places: tuple[str, ...]
    bake_temps: tuple[float, ...]
    out_h: tuple[float, ...]
    oven_h: tuple[float, ...]
    mild: bool
    wild: bool


ANYTHING = Likely(
    levels=(*LEVELS, "3", "4", "5"),
    bodies=(None, 0.8, 1.4, 1.9, 2.1, 2.5, 3.1, 4.0, 5.0),
    in_bag=("open", "open", "open", "open", "open", "move", "hold"),
    in_air=(
        "close", "close", "cabinet", "cabinet", "cabinet", "move", "move", "bake_start",
        "bake_start", "take", "load", "hold", "release", "split", "reflow",
    ),
    in_oven=("bake_end", "bake_end", "bake_end", "move", "load", "hold"),
    places=("floor", "floor", "line", "oven", "nowhere", "cabinet"),
    bake_temps=(125.0, 130.0, 135.5, 110.0, 40.0, 60.0, 95.0, 98.0),
    out_h=(0.1, 0.25, 0.5, 1, 2, 4, 8, 12),
    oven_h=(0.5, 1, 2, 3, 7, 9, 16, 27),
    mild=False,
    wild=True,
)  # fmt: skip

DRYING = replace(
    ANYTHING,
    levels=("3", "4", "4", "5", "5a", "2"),
    in_bag=("open",),
    in_air=("close", "cabinet", "cabinet", "cabinet", "move"),
    places=("floor", "floor", "line"),
    out_h=(0.25, 1, 2, 4, 8),
    mild=True,
    wild=False,
)

BAKING = replace(
    ANYTHING,
    levels=("2", "2a", "3", "4", "5", "5a"),
    bodies=(0.8, 1.4),
    in_bag=("open",),
    in_air=("bake_start", "bake_start", "bake_start", "move", "close", "cabinet"),
    in_oven=("bake_end", "bake_end", "bake_end", "bake_end", "move", "hold"),
    places=("floor", "floor", "line"),
    bake_temps=(125.0, 125.0, 127.0, 110.0, 60.0),
    oven_h=(0.5, 2, 3, 7, 7.25, 9, 9.5, 16.5, 17),
    wild=False,
)


@st.composite
def parts(draw: st.DrawFn, likely: Likely = ANYTHING) -> PartFacts:
    """Draw a part of any level, group, label and bake."""
    facts: dict[str, Any] = {}
    if draw(st.booleans()):
        facts["family"] = draw(
            st.sampled_from(["TQFP", "PLCC", "PQFP", "SOIC", "SOIC wide", "BGA"])
        )
        facts["pins"] = draw(st.sampled_from([None, 16, 19, 24, 82, 100]))
        facts["square"] = draw(st.sampled_from([None, True, False]))
    if draw(st.integers(0, 3)) == 0:
        facts["maker_bake"] = MakerBake(
            draw(st.sampled_from([60.0, 95.0, 110.0])),
            draw(st.sampled_from([0.5, 2.0])),
            once=draw(st.booleans()),
        )
    return part(
        draw(st.sampled_from(likely.levels)),
        draw(st.sampled_from(likely.bodies)),
        label_floor_life_hours=draw(st.sampled_from([None, None, 6, 12.5, 84, 700, 9000])),
        compound_confirmed=draw(st.booleans()),
        large_bga=draw(st.integers(0, 9)) == 0,
        stacked_die=draw(st.integers(0, 9)) == 0,
        **facts,
    )


@st.composite
def carriers(draw: st.DrawFn, of: st.SearchStrategy[PartFacts]) -> CarrierFacts:
    """Draw a carrier in its bag, mostly with a known and current shelf life."""
    sealed_on = draw(st.sampled_from([SEALED_ON] * 14 + [None]))
    ends = draw(st.sampled_from([None] * 4 + [date(2026, 9, 21), date(2026, 9, 22)]))
    received = draw(st.sampled_from([T0 - 6 * 3600, T0, T0 + 3600]))
    place = draw(st.sampled_from(["floor", "floor", "cabinet", None]))
    return carrier(
        draw(of), sealed_on=sealed_on, shelf_life_ends=ends, received_at=received, place=place
    )


def airs(temps: list[int], rhs: list[int]) -> st.SearchStrategy[tuple[int, int]]:
    return st.tuples(st.sampled_from(temps), st.sampled_from(rhs))


ROOM_AIR = airs(
    [1800, 2200, 2450, 2451, 2600, 2950, 3000, 3001, 3450, 3600],
    [150, 700, 3500, 4700, 5000, 5700, 5701, 6000, 6001, 6500, 8700, 8800],
)
MILD_AIR = airs([2000, 2400, 2600], [3000, 4500, 5000])
DRY_AIR = airs([2200, 2500], [100, 200, 400, 500])
DAMP_AIR = airs([2200, 2500], [501, 900, 1000, 1001, 2000, 4500])
HOT_AIR = airs([12500, 12800, 13500, 12499, 13501, 3000, 8000, 6500], [100])


@st.composite
def readings(
    draw: st.DrawFn,
    grid: Grid,
    hours: float,
    usual: st.SearchStrategy[tuple[int, int]],
    odd: st.SearchStrategy[tuple[int, int]],
) -> list[Reading]:
    """Draw stretches of steady readings with gaps and odd spells between them."""
    found: list[Reading] = []
    t = T0 + draw(st.sampled_from([-7200, -1800, 0, 1800, 7200]))
    end = T0 + round(hours * 3600)
    while t < end and len(found) < 120:
        air = draw(st.one_of(usual, usual, odd))
        gap = draw(grid.span(1 / 12, 0.25, 0.5))
        for _ in range(draw(st.integers(1, 12))):
            found.append((t, *air))
            t += gap
        t += draw(st.sampled_from([0, 0, 0, 1])) * draw(grid.span(0.25, 0.5, 0.75, 1, 3))
    return found


@st.composite
def dated_settings(draw: st.DrawFn, grid: Grid, dry: bool) -> Dated[AirSettings]:
    """Draw a place's assumed air and tolerance, perhaps changed on the way."""
    usual = [AirSettings(), AirSettings(3000, 400), AirSettings(2500, 500, 20, 100)]
    room = [AirSettings(), AirSettings(3200, 6500), AirSettings(2200, 4000, 100, 500)]
    choice = st.sampled_from(usual if dry else room)
    changes = []
    if draw(st.integers(0, 2)) == 0:
        changes.append((T0 + draw(grid.span(1, 4, 10)), draw(choice)))
    return Dated(draw(choice), tuple(changes))


@st.composite
def dated_flag(draw: st.DrawFn, grid: Grid) -> Dated[bool]:
    """Draw a policy, perhaps changed on the way."""
    first = draw(st.sampled_from([False, False, True]))
    if draw(st.integers(0, 2)):
        return Dated(first)
    return Dated(first, ((T0 + draw(grid.span(2, 8)), not first),))


CARDS = st.sampled_from(
    [{"5": "dry", "10": "dry", "60": "dry"}] * 12
    + [
        {"5": "humid", "10": "dry", "60": "dry"},
        {"5": "humid", "10": "humid", "60": "dry"},
        {"5": "humid", "10": "humid", "60": "humid"},
        {"5": "missing", "10": "missing", "60": "missing"},
    ]
)


@st.composite
def logs(
    draw: st.DrawFn, grid: Grid, facts: CarrierFacts, likely: Likely, most: int
) -> list[Event]:
    """Draw a log: mostly what fits where the carrier is, sometimes what contradicts it."""
    events: list[Event] = []
    t = T0
    inside = "bag"
    spans = {
        "bag": grid.span(0.1, 1, 5, 12, 20, 40),
        "air": grid.span(*likely.out_h),
        "dry": grid.span(0.5, 1, 5, 10, 20, 40, 60),
        "oven": grid.span(*likely.oven_h),
    }
    for n in range(1, draw(st.integers(1, most)) + 1):
        kinds = {"bag": likely.in_bag, "air": likely.in_air, "oven": likely.in_oven}[inside]
        if likely.wild and draw(st.integers(0, 24)) == 0:
            kinds = (
                "open",
                "close",
                "bake_start",
                "bake_end",
                "scrap",
                "take",
                "release",
                "reflow",
            )
        kind = draw(st.sampled_from(kinds))
        what: dict[str, Any] = {}
        if kind == "cabinet":
            kind, what["place"] = "move", draw(st.sampled_from(CABINETS))
        elif kind in ("move", "load"):
            what["place"] = draw(st.sampled_from(likely.places))
        elif kind == "open":
            what["hic"] = draw(CARDS)
        elif kind == "close":
            what["desiccant"] = draw(st.sampled_from(["fresh", "fresh", "reused"]))
            what["new_hic"] = draw(st.sampled_from(["fresh", "kept"]))
            what["seal"] = draw(st.sampled_from(["heat", "heat", "clip"]))
        elif kind == "bake_start":
            what["place"] = "oven"
            what["temp_c"] = draw(st.sampled_from(likely.bake_temps))
        elif kind == "bake_end":
            what["place"] = draw(st.sampled_from([None, "line", "cabinet"]))
        elif kind == "reflow":
            what["last"] = draw(st.booleans())
        elif kind == "split":
            what["child"], what["quantity"] = "C2", 10
        events.append(Event(f"e{n}", facts.code, Kind(kind), t, n, t, **what))
        inside = {"open": "air", "close": "bag", "bake_start": "oven", "bake_end": "air"}.get(
            kind, "air" if kind in ("move", "load") and inside == "oven" else inside
        )
        where = "dry" if inside == "air" and what.get("place") in CABINETS else inside
        t += draw(st.one_of(spans[where], spans[where], spans[where], st.just(0)))
    return events


@st.composite
def worlds(draw: st.DrawFn, likely: Likely | None = None, most_events: int = 10) -> World:
    """Draw a whole history, of one likelihood or of any."""
    likely = likely or draw(st.sampled_from([ANYTHING, DRYING, BAKING]))
    grid = draw(GRIDS)
    facts = draw(carriers(parts(likely)))
    events = draw(logs(grid, facts, likely, most_events))
    hours = min(80.0, (events[-1].at - T0) / 3600 + 8)
    air = {}
    for room in ROOMS:
        odd = MILD_AIR if likely.mild and draw(st.integers(0, 4)) else ROOM_AIR
        air[room] = draw(readings(grid, hours, MILD_AIR if likely.mild else ROOM_AIR, odd))
    for cabinet in CABINETS:
        air[cabinet] = draw(readings(grid, hours, DRY_AIR, DAMP_AIR))
    if draw(st.booleans()):
        hot = st.just((draw(st.sampled_from(likely.bake_temps)) * 100 + 100, 100))
        hot = hot.map(lambda pair: (round(pair[0]), pair[1]))
        air["oven"] = draw(readings(grid, hours, hot, HOT_AIR))
    if draw(st.integers(0, 5)) == 0:
        del air[draw(st.sampled_from(sorted(air)))]
    settings = {
        place: draw(dated_settings(grid, place in CABINETS))
        for place in KINDS
        if draw(st.booleans())
    }
    policies = Policies(credit=draw(dated_flag(grid)), pause_levels_4_to_5a=draw(dated_flag(grid)))
    return World(facts, events, air, settings, KINDS, policies, grid.step_s)


def places_of(world: World) -> Places:
    """Return the places of a drawn history as the package takes them."""
    return Places(
        {
            code: PlaceAir(
                code,
                world.readings.get(code, ()),
                world.settings.get(code, Dated(AirSettings())),
            )
            for code in world.kinds
        },
        world.kinds,
    )


@st.composite
def moments(draw: st.DrawFn, world: World) -> int:
    """Draw a moment to ask about: anywhere, or near what happened."""
    last = max(event.at for event in world.events)
    steps = (last - T0) // world.step_s + 60
    somewhere = st.integers(0, steps).map(lambda n: T0 + n * world.step_s)
    near = st.tuples(
        st.sampled_from([event.at for event in world.events]), st.sampled_from([-1, 0, 0, 1, 2])
    ).map(lambda pair: pair[0] + pair[1] * world.step_s)
    return max(draw(st.one_of(somewhere, near)), world.facts.received_at)


def voided(event: Event, seq: int) -> Event:
    """Return a correction that voids an event."""
    id_, at = f"v{seq}", event.at
    return Event(id_, event.carrier, Kind.CORRECT, at, seq, at, corrects=event.id, void=True)


def amended(event: Event, seq: int, **fields: Any) -> Event:
    """Return a correction that changes fields of an event."""
    id_, at = f"a{seq}", event.at
    return Event(id_, event.carrier, Kind.CORRECT, at, seq, at, corrects=event.id, fields=fields)


@st.composite
def corrections(draw: st.DrawFn) -> list[Event]:
    """Draw a log with corrections, and corrections of corrections, in any order."""
    log = [
        Event(f"e{n}", "C1", Kind.MOVE, T0 + draw(st.integers(0, 5)), n, T0, place="floor")
        for n in range(draw(st.integers(1, 5)))
    ]
    for seq in range(10, 10 + draw(st.integers(0, 6))):
        target = draw(st.sampled_from(log))
        if target.kind is Kind.CORRECT or draw(st.booleans()):
            log.append(voided(target, seq))
        elif draw(st.booleans()):
            log.append(amended(target, seq, at=T0 + draw(st.integers(0, 5))))
        else:
            log.append(amended(target, seq, place=draw(st.sampled_from(["line", "oven"]))))
    return draw(st.permutations(log))


@st.composite
def splits(
    draw: st.DrawFn,
) -> tuple[dict[str, list[Event]], dict[str, tuple[str, str]]]:
    """Draw the logs of a carrier, its child and its grandchild, and who came of which split."""
    logs: dict[str, list[Event]] = {}
    parents: dict[str, tuple[str, str]] = {}
    seq = 0
    for code, child in (("C1", "C2"), ("C2", "C3"), ("C3", None)):
        log = []
        for _ in range(draw(st.integers(0, 3))):
            seq += 1
            at = T0 + draw(st.integers(0, 9))
            log.append(Event(f"e{seq}", code, Kind.MOVE, at, seq, at, place="floor"))
        if child is not None:
            seq += 1
            at = T0 + draw(st.integers(0, 9))
            split = Event(f"e{seq}", code, Kind.SPLIT, at, seq, at, child=child, quantity=1)
            parents[child] = (code, split.id)
            log.append(split)
        if log and draw(st.booleans()):
            seq += 1
            late = draw(st.sampled_from(log))
            log.append(amended(late, seq, at=T0 + draw(st.integers(0, 9))))
        if log and draw(st.integers(0, 4)) == 0:
            seq += 1
            log.append(voided(draw(st.sampled_from(log)), seq))
        logs[code] = log
    return logs, parents


def with_events(world: World, events: list[Event]) -> World:
    """Return the same history with other events."""
    return replace(world, events=sorted(events, key=lambda event: (event.at, event.seq)))
