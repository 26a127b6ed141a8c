"""What one request costs on PostgreSQL, and how that grows with the frames of a sitting.

    python -m tests.benchmarks scale [--sizes 100 1000 3000 10000] [--sittings 200] [--each 300] [--rounds 9]
                                     [--only WORD ...] [--explain] [--profile]

For each page: CPU time of this process (not of the database) from the server's call of the application to the last
byte, the median of several; queries; bytes as sent, with gzip where the page has it. What is to be reached by 300
frames is asked in turns with a bare health answer (`/health/live`: all of the middleware, nothing else) and told as a
multiple of it too, asked without a pause and every 50 ms: a process that is asked now and then takes longer for
anything at all. `--sittings` others stand beside, so that no query is quick because the tables are small. `--explain`
prints PostgreSQL's own account (EXPLAIN ANALYZE) of the slowest statements of each page. `--profile` prints where the
time goes.
"""

from __future__ import annotations

import argparse
import cProfile
import io
import json
import os
import pstats
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import count
from typing import TYPE_CHECKING, Any

from tests.benchmarks import many_rows
from tests.benchmarks.figures import figure
from tests.benchmarks.timing import Beside, beside

if TYPE_CHECKING:
    from tests.benchmarks.many_rows import Filled

# Milliseconds of CPU to reach: of a page of 300 frames, where a bare health answer takes one, and for lists and sheets
# by 3,000.
TO_REACH = {
    "small picture": 1.5, "poll without news": 1.0, "mark": 5.0, "frame opened": 5.0, "sheet": 25.0,
}  # fmt: skip
PAUSE, WARM = 0.05, 20  # seconds between two requests of somebody who pauses; requests before the first that counts
BY_3000 = {"sheet": 300.0, "agent's lists": 300.0, "desk data": 300.0}


@dataclass(frozen=True)
class Asked:
    """One request: who asks, and for what; `body` is sent as JSON."""

    who: str
    path: str
    body: Callable[[int], Any] | None = None


@dataclass
class Cost:
    ms: float
    queries: int
    bytes: int
    status: str
    held: Beside | None = None  # beside a bare health answer, asked without a pause
    paused: Beside | None = None  # and every `PAUSE` seconds


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="scale", description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=[100, 300, 1000, 3000, 10_000])
    parser.add_argument("--sittings", type=int, default=200)
    parser.add_argument("--each", type=int, default=300)
    parser.add_argument("--rounds", type=int, default=9)
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--explain", action="store_true")
    parser.add_argument("--profile", action="store_true")
    options = parser.parse_args(argv)
    with many_rows.portal():
        measure(options)
    return 0


def measure(options: argparse.Namespace) -> None:
    from django.db import connection

    from portal.wsgi import application
    from tests.cast import make_cast

    cast = make_cast("elsewhere")
    began = time.monotonic()
    many_rows.crowd_of(cast.owner, options.sittings, options.each)
    filled = {size: many_rows.fill(cast.owner, f"of-{size}", size) for size in options.sizes}
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    others = options.sittings * options.each
    took = f"{time.monotonic() - began:.0f} s"
    print(f"{others} frames in {options.sittings} other sittings; rows made in {took}", flush=True)
    print(f"load {os.getloadavg()}, {os.cpu_count()} cores; CPU ms of the web process, median of {options.rounds}")
    costs: dict[str, dict[int, Cost]] = {}
    for size in options.sizes:
        cookies = {who: cookie(cast, person) for who, person in people(cast, filled[size]).items()}
        for name, asked in pages(filled[size]).items():
            if options.only and not any(word in name for word in options.only):
                continue
            one = cost(application, asked, cookies[asked.who], options.rounds)
            if size == 300 and name in TO_REACH:
                one = beside_health(application, asked, cookies[asked.who], options.rounds, one)
            costs.setdefault(name, {})[size] = one
            print(f"  {name}, {size} frames: {one.ms:.2f} ms, {one.queries} questions", flush=True)
            if size == max(options.sizes) and (options.explain or options.profile):
                look_into(application, name, asked, cookies[asked.who], options)
    report(costs, options.sizes)


def people(cast: Any, filled: Filled) -> dict[str, Any]:
    return {"owner": cast.owner, "subject": filled.subject, "agent": filled.agent}


def cookie(cast: Any, person: Any) -> str:
    client = cast.client_of(person)
    return "; ".join(f"{name}={morsel.value}" for name, morsel in client.cookies.items())


def pages(filled: Filled) -> dict[str, Asked]:
    slug, frame = filled.sitting.slug, filled.frames[len(filled.frames) // 2]
    proof = frame.proofs.get()
    filled.sitting.refresh_from_db()
    here, studio = f"/s/{slug}", f"/studio/{slug}"
    since = f"?since={filled.sitting.change}"

    def marks(n: int) -> Any:
        one = filled.frames[n % len(filled.frames)]
        return [{"frame": one.pk, "kind": "alternate", "act": f"bench-{time.monotonic_ns()}", "at": None}]

    return {
        "alive": Asked("subject", "/health/live"),
        "small picture": Asked("subject", f"/files/proof/{frame.pk}/small/{proof.pk}.jpg"),
        "agent's small picture": Asked("agent", f"/files/proof/{frame.pk}/small/{proof.pk}.jpg"),
        "studio's small picture": Asked("owner", f"/files/proof/{frame.pk}/small/{proof.pk}.jpg"),
        "poll without news": Asked("subject", f"{here}/changes{since}"),
        "studio's poll": Asked("owner", f"{studio}/lists/news{since}"),
        "frame opened": Asked("subject", f"{here}/frame/{frame.pk}"),
        "sheet": Asked("subject", f"{here}/sheet"),
        "agent's sheet": Asked("agent", f"{here}/sheet"),
        "all marks": Asked("subject", f"{here}/marks"),
        "side by side": Asked("subject", f"{here}/compare?look={frame.look_id}"),
        "plan": Asked("subject", f"{here}/plan"),
        "agent's lists": Asked("agent", f"{here}/lists"),
        "studio's lists": Asked("owner", f"{studio}/lists"),
        "desk": Asked("owner", f"{studio}/desk"),
        "desk data": Asked("owner", f"{studio}/desk/data"),
        "sitting's overview": Asked("owner", f"{studio}/"),
        "journal": Asked("owner", f"{studio}/journal"),
        "list of sittings": Asked("owner", "/studio/"),
        "mark": Asked("subject", f"{here}/marks", marks),
    }


def request(application: Any, asked: Asked, cookies: str, n: int = 0) -> tuple[float, str, int]:
    """(milliseconds of CPU, status, bytes of the body)."""
    path, _mark, query = asked.path.partition("?")
    body = b"" if asked.body is None else json.dumps(asked.body(n)).encode()
    environ = {
        "REQUEST_METHOD": "GET" if asked.body is None else "POST", "PATH_INFO": path, "QUERY_STRING": query,
        "SCRIPT_NAME": "", "SERVER_NAME": "localhost", "SERVER_PORT": "80", "SERVER_PROTOCOL": "HTTP/1.1",
        "HTTP_HOST": "localhost", "REMOTE_ADDR": "127.0.0.1", "HTTP_COOKIE": cookies, "HTTP_ACCEPT_ENCODING": "gzip",
        "HTTP_ACCEPT_LANGUAGE": "en-GB,en;q=0.8", "HTTP_USER_AGENT": "Mozilla/5.0", "CONTENT_TYPE": "application/json",
        "CONTENT_LENGTH": str(len(body)), "wsgi.input": io.BytesIO(body), "wsgi.errors": sys.stderr,
        "wsgi.url_scheme": "http", "wsgi.version": (1, 0), "wsgi.multithread": True, "wsgi.multiprocess": True,
        "wsgi.run_once": False,
    }  # fmt: skip
    if asked.body is not None:
        token = "a" * 32
        environ["HTTP_COOKIE"] = f"{cookies}; {_form_cookie()}={token}"
        environ["HTTP_X_CSRFTOKEN"] = token
    if who_holds := PASSES.get(cookies):
        environ["HTTP_COOKIE"] = f"{environ['HTTP_COOKIE']}; {who_holds}"
    answered: list[str] = []
    start = time.process_time()
    response = application(environ, lambda status, headers: answered.append(status) or _keep(cookies, headers))
    size = sum(len(piece) for piece in response)
    response.close()
    return (time.process_time() - start) * 1e3, answered[0], size


PASSES: dict[str, str] = {}  # by the cookies that a browser came with: the pass it was given, as a browser keeps it


def _keep(cookies: str, headers: list[tuple[str, str]]) -> None:
    from django.conf import settings

    for name, value in headers:
        if name == "Set-Cookie" and value.strip().startswith(f"{settings.PASS_COOKIE_NAME}="):
            PASSES[cookies] = value.strip().partition(";")[0]


def _form_cookie() -> str:
    from django.conf import settings

    return str(settings.CSRF_COOKIE_NAME)


def cost(application: Any, asked: Asked, cookies: str, rounds: int) -> Cost:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    request(application, asked, cookies)
    took, place = [], 1
    spent = time.monotonic()
    while len(took) < rounds and (len(took) < 3 or time.monotonic() - spent < 20):
        took.append(request(application, asked, cookies, place))
        place += 1
    questions = []
    for _time in range(2):  # once in five minutes somebody is noted as seen, by four statements more
        with CaptureQueriesContext(connection) as seen:
            request(application, asked, cookies, place)
        questions.append(len(seen))
        place += 1
    statuses = {status for _ms, status, _size in took}
    ms = statistics.median(ms for ms, _s, _b in took)
    return Cost(ms, min(questions), took[-1][2], " ".join(sorted(statuses)))


def beside_health(application: Any, asked: Asked, cookies: str, rounds: int, one: Cost) -> Cost:
    """The cost with what it is beside a bare health answer; its time is that of the rows without a pause."""
    places = count(1000)

    def work() -> float:
        return request(application, asked, cookies, next(places))[0]

    def health() -> float:
        return request(application, Asked(asked.who, "/health/live"), cookies)[0]

    for _time in range(WARM):
        work(), health()
    each = 10 if one.ms < 15 else 3
    held = beside(work, health, rounds=rounds, each=each)
    return replace(
        one, ms=held.ms, held=held, paused=beside(work, health, rounds=rounds, each=min(each, 4), pause=PAUSE)
    )


def look_into(application: Any, name: str, asked: Asked, cookies: str, options: argparse.Namespace) -> None:
    if options.profile:
        profile = cProfile.Profile()
        profile.enable()
        for n in range(6):
            request(application, asked, cookies, 100 + n)
        profile.disable()
        print(f"\n=== {name}, 6 times")
        pstats.Stats(profile).sort_stats("cumulative").print_stats(60)
        pstats.Stats(profile).sort_stats("tottime").print_stats(30)
    if options.explain:
        explain(application, name, asked, cookies)


def explain(application: Any, name: str, asked: Asked, cookies: str, most: int = 3) -> None:
    """PostgreSQL's account of the dearest statements of one request."""
    from django.db import connection

    asks: list[tuple[float, str, Any]] = []

    def listen(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        began = time.monotonic()
        try:
            return execute(sql, params, many, context)
        finally:
            if sql.startswith("SELECT"):
                asks.append((time.monotonic() - began, sql, params))

    with connection.execute_wrapper(listen):
        request(application, asked, cookies, 77)
    print(f"\n=== {name}: {len(asks)} questions")
    for took, sql, params in sorted(asks, key=lambda one: -one[0])[:most]:
        with connection.cursor() as cursor:
            cursor.execute(f"EXPLAIN (ANALYZE, BUFFERS, COSTS OFF) {sql}", params)
            print(f"--- {took * 1e3:.1f} ms: {sql[:300]}")
            print("\n".join(f"    {row[0]}" for row in cursor.fetchall()))


def beside_in_words(name: str, one: Cost, most: float) -> None:
    for way, told in (("without a pause", one.held), (f"every {PAUSE * 1e3:.0f} ms", one.paused)):
        if told is None:
            continue
        figure(f"{name}, {way}, ms", told.ms, "ms CPU", most=most if told is one.held else None)
        figure(f"{name}, {way}, bare health answers", told.times, "times", most=most)
        print(f"{name}, {way}: {told.ms:.2f} ms, {told.times:.2f} times (at most {most:g}) a bare health answer of"
              f" {told.measure_ms:.2f} ms")  # fmt: skip


def report(costs: dict[str, dict[int, Cost]], sizes: list[int]) -> None:
    print(f"\n{'page':24}" + "".join(f"{size:>26} frames" for size in sizes))
    for name, by_size in costs.items():
        cells = [f"{one.ms:9.2f} ms {one.queries:3} q {one.bytes / 1e3:9.1f} kB" for one in by_size.values()]
        counts = {one.queries for one in by_size.values()}
        odd = {one.status for one in by_size.values()} - {"200 OK", "204 No Content"}
        bounds = [f"{size} frames: at most {most:g} ms" for size, table in ((300, TO_REACH), (3000, BY_3000))
                  if (most := table.get(name)) and size in by_size]  # fmt: skip
        for size, one in by_size.items():
            bounds_of = {300: TO_REACH, 3000: BY_3000}.get(size, {})
            figure(f"{name}, {size} frames", one.ms, "ms CPU", most=bounds_of.get(name))
        remark = "; ".join([*bounds, *([f"queries grow: {sorted(counts)}"] if len(counts) > 1 else []), *sorted(odd)])
        print(f"{name:24}" + "  ".join(f"{cell:>31}" for cell in cells) + f"  {remark}", flush=True)
    for name, by_size in costs.items():
        for size, one in by_size.items():
            beside_in_words(f"{name}, {size} frames", one, TO_REACH.get(name, 0))
