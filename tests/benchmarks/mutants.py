"""`python -m tests.benchmarks mutants [ROOM ...] [--each 5] [--show]`: are small faults in the code seen by its tests?

Of each function below a few mutants are made: a comparison moved by its edge, a sign turned, a number raised by one, an
`and` made an `or`, a condition turned round, a statement left out, one of a query's conditions or one of an update's
columns left out, nothing returned. Which of all possible ones is drawn by the function's name, so that the choice is
nobody's and the same every time. A mutant is caught when a test fails or hangs.

No file is changed: the tests are collected once, then every mutant gets a process of its own (fork) in which the
function's code is exchanged in memory, and only those tests run that call it. Only a room's fast tests take part (the
files named below); those with whole photographs, and those behind the decoder's door, whose new process would run the
code as it is, do not: the figures err on the low side. Where tests have tables, they are made once; every process gets
a copy of them, so that one that dies half-way leaves nothing to the next.
"""

from __future__ import annotations

import argparse
import ast
import copy
import gc
import importlib
import json
import os
import random
import resource
import shutil
import signal
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, FunctionType, SimpleNamespace
from typing import Any

import pytest
from _pytest.runner import call_and_report, runtestprotocol

from tests.benchmarks.mutant_rooms import EACH_VERB, STEPS

ROOT = Path(__file__).resolve().parents[2]
CPU_SECONDS = 90  # a mutant that needs more than this hangs

# Per room: its fast tests, and ten functions, spread by what a fault in them would cost.
ROOMS: dict[str, tuple[list[str], dict[str, list[str]]]] = {
    "opening": (
        [f"tests/imaging/opening/test_{name}.py" for name in ("exif", "header")],
        {
            "opening.decode": ["_check_size", "_scale_for", "turn_upright", "view_upright", "_judge_profile"],
            "opening.exif": ["_value", "_moment"],
            "opening.formats": ["sniff", "_surround"],
            "opening.picture": ["FrameFacts.from_dict"],
        },
    ),
    "containers": (
        ["tests/imaging/containers"],
        {
            "containers.jpeg": ["_segments", "_frame", "_profile", "read_parts", "scans_and_end", "bare", "_segment",
                                "with_tags"],
            "containers.tiff": ["check", "_is_raw", "_entry"],
        },
    ),
    "colour": (
        ["tests/imaging/colour/test_curves.py"],
        {
            "colour.convert": ["depth", "_same", "_grey_table", "grey_to_srgb", "to_monochrome"],
            "colour.matrix_shaper": ["Shaper.inverse_curves", "_parametric", "read"],
            "colour.profiles": ["_assemble", "examine"],
        },
    ),
    "face": (
        [f"tests/imaging/face/test_{name}.py" for name in ("numbers", "tones", "hashes")],
        {
            "face.eyes": ["clock_hour", "agreed_pupils", "_inside_lid"],
            "face.faces": ["_overlap", "_closer", "_lean", "_openness"],
            "face.hashes": ["distance"],
            "face.models": ["_iou"],
            "face.reading": ["_readable_lids"],
        },
    ),
    "framing": (
        ["tests/imaging/framing/test_tables.py", "tests/imaging/framing/test_warnings.py"],
        {
            "framing.geometry": ["Rect.clamp_to", "fit_largest", "orient_rect", "from_turned", "turned_inside"],
            "framing.crops": ["head_shares", "_beyond", "_pixel_warnings"],
            "framing.cut_order": ["check_order"],
            "framing.sizes": ["SizeSpec.__post_init__"],
        },
    ),
    "drawing": (
        ["tests/imaging/drawing/test_places.py"],
        {
            "drawing.border": ["strip_height", "insets", "name_problem", "draw"],
            "drawing.lettering": ["writable"],
            "drawing.name_strip": ["strip_box", "fitted"],
            "drawing.stamp_layout": ["_row_places", "clear_zones", "touches"],
        },
    ),
    "output": (
        ["tests/imaging/output/test_numbers.py"],
        {
            "output.encode": ["subsampling_for", "encode_within", "_secant", "_what_would_fit", "encode_tiff"],
            "output.resize": ["fit_within", "plain_average", "cut_turned"],
            "output.sharpen": ["amount_for", "without_halos"],
        },
    ),
    "comparing": (
        ["tests/imaging/comparing/test_numbers.py"],
        {
            "comparing.match": ["Overlay.same", "choose", "_even", "_judge", "_busy"],
            "comparing.amounts": ["Changes.beyond", "Changes.caution"],
            "comparing.patches": ["_factor", "cut"],
            "comparing.shape_change": ["_sides", "_edge"],
        },
    ),
    "rights": (
        [f"tests/imaging/rights/test_{name}.py" for name in ("fields", "strip", "engine")],
        {
            "rights.fields": ["cut_bytes", "split_artists", "_iso"],
            "rights.read": ["_Reader.settle", "_photoshop_resources"],
            "rights.record": ["problems_of"],
            "rights.strip": ["jpeg_segments", "_strip_png", "tiff_entries"],
            "rights.vocabulary": ["minor_code"],
        },
    ),
    "tracer": (
        ["tests/imaging/tracer/test_pieces.py"],
        {
            "tracer.code": ["Code.signs", "Code.listen", "_round", "_permuted"],
            "tracer.pattern": ["is_prepared", "_opened", "_saved", "pair", "_pieces"],
            "tracer.read": ["_scale"],
        },
    ),
    "papers": (
        ["tests/papers"],
        {
            "papers.contact": ["_wrapped", "_Sheet._size", "_strokes"],
            "papers.fonts": ["runs", "shortened"],
            "papers.manifest": ["FileEntry.__post_init__", "entries_from_json", "sha256sums"],
            "papers.licence_fields": ["problems_of"],
            "papers.licence_wording": ["_who_and_what"],
        },
    ),
    **STEPS,
}  # fmt: skip

SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.Add: ast.Sub, ast.Sub: ast.Add,
    ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd, ast.LShift: ast.RShift, ast.RShift: ast.LShift, ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip

# Calls of which a named argument may be forgotten without anything breaking by itself.
KEYWORDS = {"filter": "filter", "exclude": "filter", "Q": "filter", "update": "update"}


@dataclass(frozen=True)
class Mutant:
    """One fault in one function: where it stands and the function's line before and after it."""

    room: str
    module: str
    function: str
    line: int
    what: str
    tree: ast.Module


# Making mutants


def function_in(tree: ast.AST, name: str) -> ast.FunctionDef:
    """The function of this dotted name. Raises LookupError when the code no longer has it."""
    here: Any = tree
    for part in name.split("."):
        kinds = (ast.FunctionDef, ast.ClassDef)
        here = next((one for one in here.body if isinstance(one, kinds) and one.name == part), None)
        if here is None:
            raise LookupError(name)
    return here


def changes(function: ast.FunctionDef) -> Iterator[tuple[str, Callable[[], None]]]:
    """Every small fault this function could have: its kind, and what makes it in place."""
    nodes = list(ast.walk(ast.Module(function.body, [])))
    types = {id(part) for node in nodes if isinstance(node, ast.AnnAssign) for part in ast.walk(node.annotation)}
    for node in nodes:
        if id(node) in types:
            continue  # what a local name is said to hold is never asked when the code runs
        if isinstance(node, ast.Compare):
            for at, sign in enumerate(node.ops):
                yield "comparison", lambda n=node, i=at, s=sign: n.ops.__setitem__(i, SWAPS[type(s)]())
        elif isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in SWAPS:
            kind = "arithmetic" if isinstance(node, ast.BinOp) else "and, or"
            yield kind, lambda n=node: setattr(n, "op", SWAPS[type(n.op)]())
        elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
            yield "constant", lambda n=node: setattr(n, "value", not n.value)
        elif isinstance(node, ast.Constant) and isinstance(node.value, int | float):
            yield "constant", lambda n=node: setattr(n, "value", n.value + 1)
        elif isinstance(node, ast.If | ast.IfExp | ast.While):
            yield "condition", lambda n=node: setattr(n, "test", ast.UnaryOp(ast.Not(), n.test))
        elif isinstance(node, ast.Return) and node.value is not None and ast.unparse(node.value) != "None":
            yield "return", lambda n=node: setattr(n, "value", ast.Constant(None))
        elif isinstance(node, ast.Call) and (kind := KEYWORDS.get(called_name(node), "")):
            for at, keyword in enumerate(node.keywords):
                if keyword.arg:
                    yield kind, lambda n=node, i=at: n.keywords.pop(i)
        for block in ("body", "orelse"):
            lines = getattr(node, block, None)
            for at, line in enumerate(lines if isinstance(lines, list) else []):
                if droppable(line):
                    yield "statement", lambda b=lines, i=at: b.__setitem__(i, ast.Pass())


def called_name(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


def droppable(line: ast.stmt) -> bool:
    """Would its absence be a fault of its own? Not a docstring, and not a name's first value: that fails anyway."""
    if isinstance(line, ast.Expr):
        return not isinstance(line.value, ast.Constant)
    plain = isinstance(line, ast.Assign) and all(isinstance(to, ast.Name) for to in line.targets)
    return isinstance(line, ast.Raise | ast.AugAssign | ast.Assign | ast.Continue | ast.Break) and not plain


def mutants_of(room: str, module: str, name: str, each: int) -> list[Mutant]:
    """So many mutants of a function, by turns of every kind of fault that its code has room for."""
    source = (ROOT / (module.replace(".", "/") + ".py")).read_text()
    whole = ast.parse(source)
    kinds: dict[str, list[int]] = {}
    for at, (kind, _) in enumerate(changes(function_in(whole, name))):
        kinds.setdefault(kind, []).append(at)
    draw = random.Random(f"{module}.{name}")
    order = sorted(kinds)
    draw.shuffle(order)
    for places in kinds.values():
        draw.shuffle(places)
    chosen: list[tuple[str, int]] = []
    while len(chosen) < each and any(kinds.values()):
        chosen += [(kind, kinds[kind].pop()) for kind in order if kinds[kind]]
    return [_mutant(room, module, name, whole, kind, at) for kind, at in chosen[:each]]


def _mutant(room: str, module: str, name: str, whole: ast.Module, kind: str, place: int) -> Mutant:
    tree = copy.deepcopy(whole)
    function = function_in(tree, name)
    before = ast.unparse(function).splitlines()
    list(changes(function))[place][1]()
    ast.fix_missing_locations(tree)
    after = ast.unparse(function_in(tree, name)).splitlines()
    at = next((i for i, (old, new) in enumerate(zip(before, after, strict=False)) if old != new), len(after) - 1)
    what = f"{kind}: {before[at].strip()}  ->  {after[at].strip()}"
    return Mutant(room, module, name, function.lineno + at, what, tree)


# Putting one in


def code_in(code: CodeType, name: str) -> CodeType:
    for part in name.split("."):
        code = next(one for one in code.co_consts if isinstance(one, CodeType) and one.co_name == part)
    return code


def living(module: str, name: str) -> FunctionType:
    """The function object behind a dotted name, below any decorator."""
    here: Any = importlib.import_module(module)
    for part in name.split("."):
        here = here.__dict__[part]
    while not isinstance(here, FunctionType) or hasattr(here, "__wrapped__"):
        here = getattr(here, "__wrapped__", None) or getattr(here, "fget", None) or here.__func__
    return here


def put_in(mutant: Mutant) -> None:
    """Exchange the code in this process, for everybody who holds the function."""
    whole = compile(mutant.tree, str(ROOT / (mutant.module.replace(".", "/") + ".py")), "exec", dont_inherit=True)
    living(mutant.module, mutant.function).__code__ = code_in(whole, mutant.function)


# Tables


def make_tables(session: pytest.Session) -> Path | None:
    """Set up what is made once for all tests, by the plainest one that has tables; their file, None when none has."""
    having = [item for item in session.items if "django_db_setup" in item.fixturenames]  # type: ignore[attr-defined]
    if not having:
        return None
    from django.db import connections

    plainest = min(having, key=lambda item: (len(item.fixturenames), item.nodeid))  # type: ignore[attr-defined]
    only_the_session: Any = SimpleNamespace(listchain=lambda: [session])
    for when in ("setup", "teardown"):
        more = {"nextitem": only_the_session} if when == "teardown" else {}
        report = call_and_report(plainest, when, log=False, **more)  # type: ignore[arg-type]
        if report.failed:
            raise RuntimeError(f"{plainest.nodeid}: {report.longreprtext}")
    plainest._request, plainest.funcargs = False, None  # type: ignore[attr-defined]  # as pytest leaves a test done
    connections.close_all()
    return Path(connections["default"].settings_dict["NAME"])


def own_tables(file: Path | None) -> None:
    """In a new process: a copy of the empty tables."""
    if file is None:
        return
    from django.db import connections

    own = file.with_name("of-a-mutant.sqlite3")  # one process at a time
    for ending in ("-wal", "-shm", "-journal"):
        own.with_name(own.name + ending).unlink(missing_ok=True)
    shutil.copyfile(file, own)
    connections["default"].settings_dict["NAME"] = str(own)


# Running tests, each lot in a process of its own


def apart(work: Callable[[], Any], cpu_seconds: int) -> Any:
    """What the work answers (JSON) in a forked process; None when it died or used more time than it may."""
    inside, outside = os.pipe()
    child = os.fork()
    if child:
        os.close(outside)
        with os.fdopen(inside) as pipe:
            text = pipe.read()
        os.waitpid(child, 0)
        return json.loads(text) if text else None
    os.close(inside)
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_seconds, cpu_seconds))
    signal.alarm(20 * cpu_seconds)  # should a library wait for a thread that only its parent has
    try:
        with os.fdopen(outside, "w") as pipe:
            pipe.write(json.dumps(work()))
    finally:
        os._exit(0)


def calls(items: list[pytest.Item], watched: dict[CodeType, str]) -> dict[str, Any]:
    """Per test the CPU seconds it takes and the watched functions that it calls; or the first test that fails."""
    seen: dict[str, Any] = {}
    for item, after in zip(items, [*items[1:], None], strict=True):
        called: set[str] = set()

        def note(frame: Any, _event: str, _arg: Any, called: set[str] = called) -> None:
            if frame.f_code in watched:
                called.add(watched[frame.f_code])

        began = time.process_time()
        sys.settrace(note)
        reports = runtestprotocol(item, log=False, nextitem=after)
        sys.settrace(None)
        if why := [report.longreprtext for report in reports if report.failed]:
            return {"failed": item.nodeid, "why": why[0][-2000:]}
        seen[item.nodeid] = [time.process_time() - began, sorted(called)]
    return seen


def caught_by(items: list[pytest.Item], mutant: Mutant) -> str:
    """The first test that fails with this mutant, or nothing."""
    put_in(mutant)
    for item, after in zip(items, [*items[1:], None], strict=True):
        if any(report.failed for report in runtestprotocol(item, log=False, nextitem=after)):
            return item.nodeid
    return ""


class Trial:
    """A pytest plugin that tries mutants in place of running the tests it has collected."""

    def __init__(self, rooms: list[str], each: int, show: bool, fast: bool) -> None:
        self.rooms, self.each, self.show, self.fast = rooms, each, show, fast
        self.tables: Path | None = None

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        self.tables = make_tables(session)
        gc.freeze()
        for room in self.rooms:
            self.try_room(room, session.items)
        return True

    def apart(self, work: Callable[[], Any], cpu_seconds: int) -> Any:
        def with_tables() -> Any:
            own_tables(self.tables)
            return work()

        return apart(with_tables, cpu_seconds)

    def try_room(self, room: str, collected: list[pytest.Item]) -> None:
        folders, modules = ROOMS[room]
        if not modules:
            return
        folders = [folder for folder in folders if not (self.fast and folder == EACH_VERB)]
        items = [item for item in collected if item.nodeid.startswith(tuple(folders))]
        names = [(full(module), name) for module, functions in modules.items() for name in functions]
        watched = {living(module, name).__code__: f"{module}.{name}" for module, name in names}
        seen = self.apart(lambda: calls(items, watched), 3600)
        if not seen or "failed" in seen:
            raise RuntimeError(f"{room}: without any mutant a test already fails: {seen}")
        items.sort(key=lambda item: seen[item.nodeid][0])
        total = caught = 0
        left = []
        for module, name in names:
            wanted = [item for item in items if f"{module}.{name}" in seen[item.nodeid][1]]
            for mutant in mutants_of(room, module, name, self.each):
                by = self.apart(lambda m=mutant, w=wanted: caught_by(w, m), CPU_SECONDS) if wanted else ""
                total += 1
                caught += by != ""
                if by == "":
                    left.append(mutant)
                if self.show:
                    print(
                        f"  {by if by else 'SURVIVES' if by == '' else 'hangs or dies'}: {described(mutant)}",
                        flush=True,
                    )
        print(f"{room}: {len(names)} functions, {total} mutants, {caught} caught, {len(left)} survive", flush=True)
        for mutant in left:
            print(f"  {described(mutant)}", flush=True)


def described(mutant: Mutant) -> str:
    return f"{mutant.module}.{mutant.function} near line {mutant.line}: {mutant.what}"


def full(module: str) -> str:
    elsewhere = module.startswith(("papers.", "steps."))
    return "galleries." + module if elsewhere else "galleries.imaging." + module


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="mutants", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("room", nargs="*", choices=[*ROOMS, []], help="all when none is named")
    parser.add_argument("--each", type=int, default=5, help="mutants a function (5)")
    parser.add_argument("--show", action="store_true", help="name for each mutant the test that caught it")
    parser.add_argument("--fast", action="store_true", help="without the table of verbs: see first what it hides")
    asked = parser.parse_args(argv)
    rooms = asked.room or list(ROOMS)
    folders = sorted({folder for room in rooms for folder in ROOMS[room][0] if (ROOT / folder).exists()})
    trial = Trial(rooms, asked.each, asked.show, asked.fast)
    return int(pytest.main([*folders, "-q", "-p", "no:cacheprovider", "-p", "no:randomly", "-s"], plugins=[trial]))
