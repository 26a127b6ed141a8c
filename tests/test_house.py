"""The house itself: what may lie where, what may be named, and that the rules that are written down are kept."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
TOP = {"README.md", "DEVELOPERS.md", "LICENSE", "manage.py", "pyproject.toml", "portal", "galleries", "tests", "deploy"}
# Put together here, so that this file does not hold them either.
HOSTS = [".".join(parts) for parts in (
    ("pypi", "org"), ("python" + "hosted", "org"), ("registry", "npm" + "js", "org"), ("npm" + "js", "com"),
    ("deb", "debian", "org"), ("security", "debian", "org"), ("ftp", "debian", "org"), ("proxy", "golang", "org"),
    ("crates", "io"), ("un" + "pkg", "com"), ("jsdelivr", "net"), ("cdnjs", "cloudflare", "com"),
)]  # fmt: skip
BINARY = {".jpg", ".png", ".icc", ".webp", ".mo", ".ttf", ".woff2", ".pdf", ".tif", ".heic"}


def tracked() -> list[Path]:
    out = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, check=True, capture_output=True, text=True).stdout
    return [ROOT / name for name in out.split("\0") if name and (ROOT / name).is_file()]


def texts() -> list[tuple[Path, str]]:
    return [(path, path.read_text(errors="replace")) for path in tracked() if path.suffix.lower() not in BINARY]


def sources(*folders: str) -> list[Path]:
    return [path for path in tracked() if path.suffix == ".py" and path.relative_to(ROOT).parts[0] in folders]


def settings_read() -> set[str]:
    """Every PORTAL_ name in the code, the start scripts and the service units."""
    found: set[str] = set()
    for path, text in texts():
        top = path.relative_to(ROOT).parts[0]
        if top in {"portal", "galleries", "deploy"} and path.name != "env.example":
            found |= set(re.findall(r"\bPORTAL_[A-Z0-9_]*[A-Z0-9]\b", text))
    buckets = {"PORTAL_S3_BUCKET_PRIVATE", "PORTAL_S3_BUCKET_PROOFS"}  # composed in the settings
    return (found - {"PORTAL_S3_BUCKET"}) | buckets


def test_the_top_level_holds_what_the_design_names() -> None:
    names = {path.relative_to(ROOT).parts[0] for path in tracked()}
    assert {name for name in names if not name.startswith(".")} <= TOP


@pytest.mark.parametrize("host", HOSTS)
def test_no_registry_is_named(host: str) -> None:
    assert [str(path.relative_to(ROOT)) for path, text in texts() if host in text.lower()] == []


def test_the_locks_carry_hashes_and_no_address() -> None:
    for name in ("requirements.lock", "requirements-test.lock"):
        text = (ROOT / "deploy" / name).read_text()
        assert "://" not in text
        pins = re.split(r"\n(?=[A-Za-z0-9])", re.sub(r"(?m)^#.*\n", "", text).strip())
        bare = [pin.split()[0] for pin in pins if "==" not in pin.split()[0] or "--hash=sha256:" not in pin]
        assert bare == []


def test_no_test_seeks_a_short_word_in_a_page() -> None:
    """A page holds random tokens: three given letters stand in one of them once in about a thousand pages."""
    short = re.compile(r"""["'][A-Za-z0-9]{1,3}["'] not in \S*(page|content|texts?\[|body|html)""")
    assert [
        f"{path.relative_to(ROOT)}:{number}"
        for path, text in texts()
        if path.suffix == ".py"
        for number, line in enumerate(text.splitlines(), 1)
        if short.search(line)
    ] == []


def test_the_test_lock_agrees_with_the_lock() -> None:
    def versions(name: str) -> dict[str, str]:
        return dict(re.findall(r"(?m)^([A-Za-z0-9._-]+)==([^\s\\;]+)", (ROOT / "deploy" / name).read_text()))

    product, tests = versions("requirements.lock"), versions("requirements-test.lock")
    assert {
        name: (product[name], version) for name, version in tests.items() if product.get(name, version) != version
    } == {}


def test_every_requirement_is_locked() -> None:
    for name, lock in (("requirements.in", "requirements.lock"), ("requirements-nodeps.in", "requirements.lock"),
                       ("requirements-test.in", "requirements-test.lock")):  # fmt: skip
        locked = set(re.findall(r"(?m)^([A-Za-z0-9._-]+)==", (ROOT / "deploy" / lock).read_text().lower()))
        for line in (ROOT / "deploy" / name).read_text().splitlines():
            wanted = re.match(r"[A-Za-z0-9._-]+", line)
            if wanted and not line.startswith("-"):
                assert wanted.group(0).lower() in locked, line


@pytest.mark.parametrize("document", ["DEVELOPERS.md", "deploy/grown/env.example"])
def test_every_setting_is_documented(document: str) -> None:
    text = (ROOT / document).read_text()
    # Of the programs' own making, not for a person to set.
    own = {"PORTAL_SUPERVISED"}
    local = {"PORTAL_PYTHON"} if document.endswith("example") else set()
    assert sorted(name for name in settings_read() - own - local if not re.search(rf"\b{name}\b", text)) == []


def test_each_test_that_the_documents_name_is_there() -> None:
    tests = "\n".join(text for path, text in texts() if path.suffix == ".py" and path.is_relative_to(ROOT / "tests"))
    named = set(re.findall(r"`(test_[a-z0-9_]+)`", (ROOT / "DEVELOPERS.md").read_text()))
    modules = {path.stem for path, _text in texts()}
    assert sorted(name for name in named - modules if f"def {name}(" not in tests) == []


def test_no_setting_is_documented_that_nothing_reads() -> None:
    for document in ("DEVELOPERS.md", "deploy/grown/env.example"):
        named = set(re.findall(r"\bPORTAL_[A-Z0-9_]*[A-Z0-9]\b", (ROOT / document).read_text()))
        assert sorted(named - settings_read()) == []


FOR_TYPES = "from typing import TYPE_CHECKING\n    if TYPE_CHECKING:\n        "
PLANTED = [
    (
        "imaging knows the framework",
        "galleries/imaging/errors.py",
        "from django.conf import settings",
        ("know no framework",),
    ),
    (
        "a model imports a step",
        "galleries/models/jobs.py",
        "from galleries.steps import jobs",
        ("Nothing imports upward", "No circles anywhere else"),
    ),
    (
        "a page touches pixels",
        "galleries/web/files.py",
        "from PIL import Image",
        ("Pixels are touched in imaging only",),
    ),
    ("the project imports the product", "portal/headers.py", "import galleries.models", ("only by a string",)),
    (
        "colour asks the opener",
        "galleries/imaging/colour/profiles.py",
        "from galleries.imaging.opening import decode",
        ("between the rooms of imaging",),
    ),
    (
        "a drawing knows the recipes, if only by type",
        "galleries/imaging/drawing/border.py",
        f"{FOR_TYPES}from galleries.imaging.recipes import FinalFile",
        ("between the rooms of imaging",),
    ),
    (
        "the tracer's pattern asks its reader",
        "galleries/imaging/tracer/pattern.py",
        "from galleries.imaging.tracer import read",
        ("between the rooms of imaging",),
    ),
    (
        "finishing asks delivering, which asks finishing",
        "galleries/steps/finishing/notes.py",
        "from galleries.steps.delivering import orders",
        ("No circles anywhere else",),
    ),
    (
        "what both pages share knows one of them, if only by type",
        "galleries/web/paper_file.py",
        f"{FOR_TYPES}from galleries.web.studio import delivery_papers",
        ("No circles anywhere else",),
    ),
]


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("house")
    for name in ("galleries", "portal"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__", "static", "templates"))
    shutil.copy(ROOT / "pyproject.toml", folder)
    return folder


def import_rules(folder: Path) -> subprocess.CompletedProcess[str]:
    command = [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"]
    return subprocess.run(command, cwd=folder, check=False, capture_output=True, text=True)


def test_the_import_rules_hold(copy: Path) -> None:
    done = import_rules(copy)
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize(("what", "where", "line", "contracts"), PLANTED, ids=[plant[0] for plant in PLANTED])
def test_a_planted_violation_is_caught(
    copy: Path, what: str, where: str, line: str, contracts: tuple[str, ...]
) -> None:
    path = copy / where
    before = path.read_text()
    path.write_text(f"{before}\n\ndef planted() -> None:\n    {line}\n")
    try:
        done = import_rules(copy)
    finally:
        path.write_text(before)
    assert done.returncode != 0
    broken = [said for said in done.stdout.splitlines() if said.endswith("BROKEN")]
    assert len(broken) == len(contracts), done.stdout
    for contract, sentence in zip(contracts, broken, strict=True):
        assert contract in sentence


def test_no_step_names_code_by_a_string() -> None:
    """The import rules cannot see such a name."""
    for path in sources("galleries"):
        if path.relative_to(ROOT).parts[1] == "steps":
            found = re.search(r"import_module|[\"']galleries\.steps\.[\w.]+[\"':]", path.read_text())
            assert found is None, f"{path}: {found}"


def commands_in(document: str) -> list[str]:
    """The lines of a document's shell blocks."""
    blocks = re.findall(r"```(?:sh|bash|console)\n(.*?)```", (ROOT / document).read_text(), re.DOTALL)
    return [line.strip() for block in blocks for line in block.splitlines() if line.strip()]


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_the_commands_of_the_documents_exist(document: str) -> None:
    lines = commands_in(document)
    assert lines
    for line in lines:
        for script in re.findall(r"(?<![\w/.])(deploy/[\w.-]+)", line):
            assert (ROOT / script).exists(), line
        for command in re.findall(r"manage\.py ([\w-]+)", line):
            ours = ROOT / "galleries" / "management" / "commands" / f"{command}.py"
            known = {"migrate", "createsuperuser", "makemigrations", "makemessages", "compilemessages", "check"}
            assert ours.exists() or command in known, line


def test_every_command_is_in_a_document_and_shows_an_example() -> None:
    documents = (ROOT / "README.md").read_text() + (ROOT / "DEVELOPERS.md").read_text()
    for path in sorted((ROOT / "galleries" / "management" / "commands").glob("[a-z]*.py")):
        assert f"manage.py {path.stem}" in documents, path.stem
        assert "example" in path.read_text().lower(), f"{path.stem} shows no example"


def test_the_scripts_can_be_run() -> None:
    for path in tracked():
        if path.read_bytes()[:2] == b"#!" and path.suffix not in {".py"}:
            assert path.stat().st_mode & 0o111, path


def test_the_readme_is_short_and_begins_with_the_job() -> None:
    text = (ROOT / "README.md").read_text()
    assert len(text.splitlines()) <= 190
    head = text.split("```", 1)[0]
    assert "deploy/start" in text[:3000]
    assert len(head.split()) > 60


def test_nobody_types_a_picture_library_outside_imaging_and_painter() -> None:
    """The import rules know modules; this knows lines, so that an import inside a function counts too."""
    libraries = {"PIL", "cv2", "pyvips", "simplejpeg", "turbojpeg", "pillow_heif", "exiv2", "c2pa", "ai_edge_litert"}
    for path in sources("galleries", "portal"):
        if path.relative_to(ROOT).parts[:2] in {("galleries", "imaging"), ("galleries", "painter")}:
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not {name.split(".")[0] for name in names} & libraries, path


# What has a name in the query sets of `galleries/models`, as it would stand there raw.
NAMED = (
    *(r"\bhidden=False", r"\bretired=False", r"\brevoked_at=None", r"\bsent_at=None", r"\bon_list=True"),
    *(r"\binvite__role__in=", r"\bkept_from_representation=False", r"\bkept_by_subject=False"),
    r"deliveries\.filter\(state=\S*\b(READY|WAITING)\b",
)


def raw_filters(source: str) -> list[str]:
    """Every call of filter, exclude or get in it that says what a query set has a name for."""
    calls = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call)]
    asked = [call for call in calls if isinstance(call.func, ast.Attribute) and call.func.attr in {"filter", "exclude"}]
    found = []
    for call in asked:
        words = ", ".join(ast.unparse(part) for part in (*call.args, *call.keywords))
        if ast.unparse(call.func).endswith("deliveries.filter"):
            words = f"deliveries.filter({words})"
        found += [words for pattern in NAMED if re.search(pattern, words)]
    return found


def test_a_filter_with_a_name_is_asked_for_by_its_name() -> None:
    for path in sources("galleries"):
        if not {"models", "migrations"} & set(path.parts):
            assert raw_filters(path.read_text()) == [], path


@pytest.mark.parametrize(
    "line",
    ["Look.objects.filter(sitting=one, hidden=False)", "final.versions.exclude(sent_at=None)",
     "sitting.deliveries.filter(state=D.READY)", "Mark.objects.filter(invite__role__in=SIDES)"],
)  # fmt: skip
def test_a_raw_filter_is_seen(line: str) -> None:
    assert len(raw_filters(line)) == 1


def test_a_filter_of_its_own_is_let_be() -> None:
    assert raw_filters("Frame.objects.filter(look__hidden=False).update(sent_at=None)") == []


# `tests/outside.py` leaves out what needs the data of ../shared on a desk without it; in CI that fails too.
MAY_SKIP = {"tests/outside.py": ["pytest.skip"]}


def skips_in(code: str) -> list[str]:
    """Every way pytest and unittest have of not running a test, or of not minding that it fails."""
    ways = {"skip", "skipif", "importorskip", "xfail", "SkipTest", "skipIf", "skipUnless", "skipTest"}
    found = []
    for node in ast.walk(ast.parse(code)):
        if isinstance(node, ast.Attribute) and node.attr in ways:
            found.append(ast.unparse(node))
        elif isinstance(node, ast.ImportFrom) and node.module in {"pytest", "unittest"}:
            found += [f"{node.module}.{one.name}" for one in node.names if one.name in ways]
    return found


def test_what_is_missing_fails_its_tests_and_skips_none() -> None:
    found = {str(path.relative_to(ROOT)): skips_in(path.read_text()) for path in sources("tests")}
    assert {name: skips for name, skips in found.items() if skips} == MAY_SKIP


@pytest.mark.parametrize(
    "code",
    [
        "import pytest\npytest.skip('no tool')",
        "import pytest\n@pytest.mark.skipif(True, reason='no tool')\ndef test_one(): ...",
        "import pytest\npytestmark = [pytest.mark.xfail]",
        "import pytest\ncolour = pytest.importorskip('colour')",
        "from pytest import skip\nskip('no tool')",
        "from unittest import SkipTest\nraise SkipTest",
    ],
)
def test_a_skip_is_seen(code: str) -> None:
    assert len(skips_in(code)) == 1


# Verbs that say nothing of what they name; the trade has a noun for each: a proof, a crop, an answer, a sentence.
NAMELESS = {"found", "made", "said"}
NAMED_SO = {
    ("galleries/imaging/tracer/answer.py", "found"): "yes or no",
    ("galleries/steps/delivering/file_order.py", "said"): "the name under which orders are kept in rows",
    ("galleries/migrations/0009_kept_by_subject.py", "said"): "a migration stays as it was run",
}


def nameless_in(code: str) -> set[str]:
    """Locals, parameters, fields, functions and classes that have such a name, an underscore before it or not."""
    names = set()
    for node in ast.walk(ast.parse(code)):
        match node:
            case ast.Name(id=name, ctx=ast.Store()) | ast.arg(arg=name):
                names.add(name)
            case ast.FunctionDef(name=name) | ast.AsyncFunctionDef(name=name) | ast.ClassDef(name=name):
                names.add(name)
    return {name for name in names if name.strip("_") in NAMELESS | {word.title() for word in NAMELESS}}


def test_names_are_nouns_of_the_trade() -> None:
    helpers = [path for path in sources("tests") if not path.name.startswith("test_")]
    paths = [*sources("galleries", "portal", "deploy"), *helpers]
    names = {(str(path.relative_to(ROOT)), name) for path in paths for name in nameless_in(path.read_text("utf-8"))}
    assert names == set(NAMED_SO)


@pytest.mark.parametrize(
    "code",
    [
        "found = 1",
        "for made in proofs: ...",
        "def crop(said): ...",
        "def _said(): ...",
        "class Found: ...",
        "if (made := crop()): ...",
        "rows = [said for said in rows]",
        "lambda found: 1",
        "with crop() as (left, made): ...",
    ],
)
def test_a_name_that_says_nothing_is_seen(code: str) -> None:
    assert len(nameless_in(code)) == 1


def test_a_name_that_says_something_is_let_be() -> None:
    assert nameless_in("being_made = seen.found\nhow_it_was_made(said=1)") == set()


def test_marked_tests_lie_in_the_folders_that_the_test_command_looks_in() -> None:
    """`deploy/test` collects tests/services and tests/browser for these marks, and leaves them out everywhere else."""
    mark = re.compile(r"pytest\.mark\.(services|browser)\b")
    marked = {
        path.relative_to(ROOT).parts[1] for path in (ROOT / "tests").rglob("*.py") if mark.search(path.read_text())
    }
    assert marked - {"test_house.py"} == {"services", "browser"}
