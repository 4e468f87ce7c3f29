"""Print how long every list and search of the history takes with many checks in it.

Run: ``python tests/benchmarks/history_speed.py [--checks 100000] [--url postgresql://...] [--keep FOLDER]``. The
colours, cars and codes are invented. The aims are 100 ms for a list or search and 200 ms for the nearest colour.
On a busy machine the median says how busy it is; ``best`` and ``CPU`` (this process's own) say what the search costs.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import insert, select, text

from match.history import tables
from match.history.database import Database, locate
from match.history.digests import seal_everything
from match.history.record_kinds import CARD, CHECK, COLOUR, JOB, Kind
from match.history.records import NewCheck, NewColour
from match.history.saving import figures, refresh_search
from match.history.store import Store
from match.history.validation import checked
from tests.support.documents import document

START = datetime(2020, 1, 1, tzinfo=UTC)
WORDS = (
    *("amber", "birch", "cedar", "dune", "ember", "fern", "granite", "heath", "iris"),
    *("jade", "kelp", "linen", "moss", "night", "ochre", "pearl", "quartz", "rust"),
)
CARS = ("hatchback", "saloon", "estate", "van", "coupe", "pickup")
FINISHES = ("solid", "metallic", "pearl")
VERDICTS = ("go", "blend", "retint", "retake")
REPEATS = 9


def words(rng: np.random.Generator, count: int) -> str:
    return " ".join(rng.choice(WORDS, size=count))


def fill(database: Database, checks: int, rng: np.random.Generator) -> None:
    """Insert one colour per 12 checks, one job per 2, one card per check, all in one transaction."""
    colours, jobs = max(1, checks // 12), max(1, checks // 2)
    labs = np.column_stack([rng.uniform(8, 95, colours), rng.normal(0, 18, colours), rng.normal(0, 22, colours)])
    with database.writing() as connection:
        insert_all(connection, COLOUR, colour_rows(rng, colours))
        insert_all(connection, JOB, job_rows(rng, jobs))
        keys = {kind: list(connection.execute(select(kind.table.c.id)).scalars()) for kind in (COLOUR, JOB)}
        owner, at_job = rng.integers(0, colours, checks), rng.integers(0, jobs, checks)
        insert_all(connection, CARD, card_rows(rng, [keys[COLOUR][i] for i in owner], [keys[JOB][i] for i in at_job]))
        cards = list(connection.execute(select(tables.card.c.id).order_by(tables.card.c.id)).scalars())
        links = [(keys[COLOUR][owner[i]], keys[JOB][at_job[i]], cards[i]) for i in range(checks)]
        results = [result(rng, labs[owner[i]]) for i in range(checks)]
        insert_all(connection, CHECK, check_rows(rng, links, results))
        made = connection.execute(select(tables.check.c.id).order_by(tables.check.c.id)).scalars()
        bodies = [
            {"check_id": key, "regions": {"card": [0.1, 0.2, 0.3, 0.4]}, "settings": {"coats": 3}, "result": found}
            for key, found in zip(made, results, strict=True)
        ]
        connection.execute(insert(tables.check_body), bodies)
        refresh_search(connection, tables.check.c.search == "")
        seal_everything(connection)
    if not database.is_sqlite:
        with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("VACUUM ANALYZE"))


def insert_all(connection: Any, kind: Kind, rows: Iterator[dict[str, Any]]) -> None:
    connection.execute(insert(kind.table), list(rows))


def kept(at: datetime) -> dict[str, Any]:
    return {"uid": uuid.uuid4().hex, "created_at": at, "version": 1}


def colour_rows(rng: np.random.Generator, count: int) -> Iterator[dict[str, Any]]:
    for _ in range(count):
        code = f"{chr(65 + rng.integers(26))}{chr(65 + rng.integers(26))}-{rng.integers(1000):03d}"
        values = {
            "code": code,
            "name": words(rng, 2),
            "finish": str(rng.choice(FINISHES)),
            "undercoat": "",
            "notes": "",
        }
        yield kept(START) | checked(COLOUR, values)


def job_rows(rng: np.random.Generator, count: int) -> Iterator[dict[str, Any]]:
    for number in range(count):
        values = {
            "car": f"{rng.choice(CARS)} {rng.integers(1995, 2026)}",
            "plate": f"{chr(65 + rng.integers(26))}{rng.integers(10_000):04d}",
            "day": date(2020, 1, 1) + timedelta(days=int(number % 2000)),
            "notes": words(rng, 4) if rng.random() < 0.3 else "",
        }
        yield kept(START) | checked(JOB, values)


def card_rows(rng: np.random.Generator, colours: list[int], jobs: list[int]) -> Iterator[dict[str, Any]]:
    empty = {column.name: "" for column in CARD.content_columns}
    for colour_id, job_id in zip(colours, jobs, strict=True):
        values = checked(CARD, empty | {"mix": words(rng, 1), "gun": "1.3 mm, 2.0 bar"})
        yield kept(START) | values | {"colour_id": colour_id, "job_id": job_id}


def result(rng: np.random.Generator, lab: Any) -> dict[str, Any]:
    vehicle = lab + rng.normal(0, 0.4, 3)
    difference = float(rng.gamma(2.0, 0.9))
    verdict = str(rng.choice(VERDICTS, p=(0.45, 0.35, 0.15, 0.05)))
    return document(difference, verdict, vehicle + rng.normal(0, 1.0, 3), vehicle, noise=rng.normal(size=60).tolist())


def check_rows(
    rng: np.random.Generator, links: list[tuple[int, int, int]], results: list[dict[str, Any]]
) -> Iterator[dict[str, Any]]:
    versions = {"method_version": "1", "tolerances_version": "1", "tolerances_hash": "0" * 64}
    for number, ((colour_id, job_id, card_id), found) in enumerate(zip(links, results, strict=True)):
        note = words(rng, 5) if rng.random() < 0.2 else ""
        yield (
            kept(START + timedelta(minutes=25 * number))
            | checked(CHECK, figures(found) | versions | {"note": note})
            | {"colour_id": colour_id, "job_id": job_id, "card_id": card_id, "corrects_id": None}
        )


def timed(name: str, aim_ms: float, call: Callable[[], Any]) -> None:
    spent, worked = [], []
    for _ in range(REPEATS):
        begin, begin_work = time.perf_counter(), time.process_time()
        found = call()
        spent.append(1e3 * (time.perf_counter() - begin))
        worked.append(1e3 * (time.process_time() - begin_work))
    total = getattr(found, "total", "")
    figures = (spent[0], min(spent), statistics.median(spent), max(spent[1:]), statistics.median(worked))
    late = "" if figures[2] < aim_ms else f"   over the aim of {aim_ms:.0f} ms"
    print(f"{name:44}", *(f"{figure:8.1f}" for figure in figures), f"{total!s:>8}{late}")


def measure(store: Store) -> None:
    total = store.find_checks().total
    colour = store.find_checks(text="hatchback", per_page=1).items[0]
    middle = START + timedelta(minutes=25 * total // 2)
    print(f"{'ms':44}", *(f"{name:>8}" for name in ("first", "best", "median", "worst", "CPU", "found")))
    searches: dict[str, dict[str, Any]] = {
        "newest 50": {},
        "last page of 50": {"page": -(-total // 50)},
        "middle page of 50": {"page": total // 100},
        "whole code": {"code": colour.code},
        "start of a code, 1 letter": {"code": "k"},
        "start of a code, nothing found": {"code": "zzzz"},
        "colour's name, common": {"colour": "amber"},
        "colour's name, rare": {"colour": "amber birch"},
        "car, common": {"car": "hatchback"},
        "car, common, deep page": {"car": "hatchback", "page": 300},
        "plate": {"car": colour.plate},
        "verdict go": {"verdict": "go"},
        "verdict go, deep page": {"verdict": "go", "page": 800},
        "verdict retake": {"verdict": "retake"},
        "one day": {"date_from": middle.date(), "date_to": middle.date()},
        "one year": {"date_from": middle - timedelta(days=182), "date_to": middle + timedelta(days=182)},
        "text, one common word": {"text": "amber"},
        "text, one rare word": {"text": colour.plate},
        "text, two words": {"text": "amber hatchback"},
        "text, three words, nothing found": {"text": "amber hatchback zebra"},
        "text, one letter": {"text": "a"},
        "everything at once": {
            "code": "k",
            "colour": "amber",
            "car": "saloon",
            "text": "moss",
            "verdict": "blend",
            "date_from": START,
        },
        "one colour": {"colour_id": colour.colour},
        "one job": {"job_id": colour.job},
    }
    for name, wanted in searches.items():
        timed(f"find_checks: {name}", 100.0, lambda wanted=wanted: store.find_checks(**wanted))
    timed("find_colours: all", 100.0, store.find_colours)
    timed("find_colours: a word", 100.0, lambda: store.find_colours("amber"))
    timed("find_jobs: a word", 100.0, lambda: store.find_jobs("hatchback"))
    timed("nearest_colours: 10 to a mid grey", 200.0, lambda: store.nearest_colours((50.0, 0.0, 0.0)))
    timed("nearest_colours: 10 to a deep blue", 200.0, lambda: store.nearest_colours((20.0, 20.0, -60.0)))
    timed("nearest_colours: page 20", 200.0, lambda: store.nearest_colours((50.0, 0.0, 0.0), page=20))
    timed("get_check", 100.0, lambda: store.get_check(colour.id))
    timed("timeline", 100.0, lambda: store.timeline(str(colour.colour)))
    timed("deleted", 100.0, store.deleted)
    found = document(0.5, "go")
    photo = np.random.default_rng(1).bytes(4 << 20)
    counter = iter(range(1000))
    timed(
        "save_check with a photo of 4 MiB",
        1000.0,
        lambda: store.save_check(
            NewCheck(result=found, colour=NewColour(code="SPEED")), [(photo + str(next(counter)).encode(), "card.jpg")]
        ),
    )
    timed("nearest_colours: first after a save", 200.0, lambda: nearest_after_a_save(store, found))
    timed("delete and undelete a check", 1000.0, lambda: (store.delete(colour.id), store.undelete(colour.id)))
    begin, begin_work = time.perf_counter(), time.process_time()
    health = store.verify()
    spent = time.perf_counter() - begin, time.process_time() - begin_work
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"verify: {health.records} records against their digests in {spent[0]:.1f} s ({spent[1]:.1f} s of CPU)")
    print(f"  problems: {len(health.problems)}; peak memory of everything above: {peak_mb:.0f} MB")


def nearest_after_a_save(store: Store, found: dict[str, Any]) -> Any:
    store.save_check(NewCheck(result=found))
    return store.nearest_colours((50.0, 0.0, 0.0))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--checks", type=int, default=100_000)
    parser.add_argument("--url", help="an empty database to fill instead of a temporary SQLite file")
    parser.add_argument("--keep", type=Path, help="a data folder to fill, or to use again when it is filled")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = arguments.keep or Path(scratch)
        location: str | Path = arguments.url or folder
        with Store.open(location, folder=folder) as store:
            filled = store.find_checks(per_page=1).total
        if not filled:
            begin = time.perf_counter()
            database = Database(locate(location, folder))
            fill(database, arguments.checks, np.random.default_rng(20))
            database.close()
            print(f"filled with {arguments.checks} checks in {time.perf_counter() - begin:.1f} s")
        begin = time.perf_counter()
        with Store.open(location, folder=folder) as store:
            print(f"opened in {1e3 * (time.perf_counter() - begin):.1f} ms")
            measure(store)


if __name__ == "__main__":
    main()
