"""The shape of the house: who may know whom, and what the pure rooms never touch."""

import ast
import re

import pytest

from tests.source import ROOT, Import, Module, kept_files, package

FLOORS = (
    # each floor may import from the floors before it, and from itself within a room
    ("clock", "errors", "the words of time and of failure, known to all"),
    ("logs", "", "lines on stderr"),
    ("scheduling", "", "asks for due work again and again"),
    ("systemd", "", "word to the service manager"),
    ("health", "", "heartbeats and supervised threads; nothing of the house"),
    ("monitor", "", "the version"),
    ("science", "", "arithmetic with sources; knows numbers only"),
    ("site", "", "what is declared and what the journal moved"),
    ("schedule", "", "pure: what is due"),
    ("alarms", "", "bands, conditions and states of alarms"),
    ("heart", "", "the pure step from events to records"),
    ("accounts", "store", "what is computed per day; what is durable"),
    (
        "control desk explain intake notices summary mirror page",
        "",
        "the edges; they meet in the store only, and not in each other",
    ),
    ("foresight", "", "from the forecast to what must be watched"),
    ("chores", "", "what comes once a period, in child processes"),
    ("recorder", "", "from the queue through the step into the store"),
    ("channels", "", "every way to every keeper, made from site and secrets"),
    ("service", "", "wiring and threads"),
    ("testing", "", "fakes of everything above"),
    ("demo", "", "a simulated house around the daemon"),
    ("cli", "", "commands, no logic"),
    ("__main__", "", "the way in"),
)
FLOOR = {
    room: number
    for number, (first, second, _) in enumerate(FLOORS)
    for room in f"{first} {second}".split()
}

SIBLINGS = {
    ("accounts", "store"): "the worker reads days by store.reader and its cache",
    ("control", "desk"): "the socket carries the desk's requests and replies",
    ("desk", "intake"): "a value read by hand is as possible as one of a probe",
}
"""Rooms of one floor that meet all the same, with the reason."""

STANDARD = """
abc array bisect collections contextlib dataclasses datetime decimal difflib enum
fractions functools hashlib heapq ipaddress itertools json math operator re statistics
string types typing unicodedata urllib.parse
"""
"""The pure part of the standard library."""

PURE = {
    "science": {"numpy", "msgspec"},
    "site": {"msgspec", "pydantic", "pydantic_core", "zoneinfo"},
    "alarms": {"msgspec"},
    "heart": {"msgspec"},
    "accounts": {"msgspec", "numpy"},
    "monitor.store.rows": {"msgspec"},
}
"""What each pure room or module may import beside what is pure in the library."""

INSIDE_FUNCTIONS = {"science": {"scipy"}}
"""Heavy: imported where it is used."""

LOADERS = {
    "monitor.site.load": "reads the files that the models check",
    "monitor.site.secrets": "reads secrets, which stand in files of their own",
    "monitor.site.settings": "reads the environment of the process",
}
"""Modules of pure rooms that do what the room as a whole must not."""

IMPURE_CALLS = """
.now .today .utcnow .time_ns .monotonic .perf_counter .sleep .getenv .urandom
.open .read_text .read_bytes .write_text .write_bytes open input print exec eval
time.time clock.time loop.time
"""
"""Calls that ask the world; ``.time`` of an instant is pure, and of a clock is not."""

MODULES = package()
PURE_MODULES = [
    m for m in MODULES if {m.room, m.name} & PURE.keys() and m.name not in LOADERS
]
LONGEST = 400


def test_every_room_stands_on_a_floor():
    """A new room is put into the table above before anything imports it."""
    unknown = {m.room for m in MODULES} - FLOOR.keys()

    assert not unknown, f"give these rooms a floor: {sorted(unknown)}"


def downward(module: Module, target: str) -> bool:
    """Whether an import goes to a lower floor, the same room or a named sibling."""
    parts = target.split(".")
    if parts[0] != "monitor":
        return True
    # `from monitor import __version__` is of the package itself
    room = parts[1] if len(parts) > 1 and parts[1] in FLOOR else "monitor"
    return (
        room == module.room
        or FLOOR[room] < FLOOR[module.room]
        or (module.room, room) in SIBLINGS
    )


def test_imports_run_downward():
    """No room knows a room above it, and siblings meet only where a reason stands."""
    bad = [
        f"{module.at(found.line)} {module.room} imports {found.target}"
        for module in MODULES
        for found in module.imports()
        if not downward(module, found.target)
    ]

    assert not bad, "\n".join(bad)


def test_accounts_know_the_store_by_its_reader_and_values():
    """Accounts never write: the recorder stores what they hand over."""
    bad = [
        f"{m.at(i.line)} {i.target}"
        for m in MODULES
        if m.room == "accounts"
        for i in m.imports()
        if i.target.startswith("monitor.store")
        and not i.target.startswith(("monitor.store.reader", "monitor.store.rows"))
    ]

    assert not bad, "\n".join(bad)


IMPURE_NAMES = re.compile(
    # the lowest floors do I/O; only the words of time and of failure are pure
    r"monitor\.(logs|systemd|health|__version__)\b"
    r"|monitor\.clock\.(SteadyClock|ScaledClock|clock_from_environment)\b"
)


def pure(module: Module, found: Import) -> bool:
    """Whether a module of a pure room may have this import."""
    top = found.target.split(".")[0]
    late = found.inside and top in INSIDE_FUNCTIONS.get(module.room, ())
    named = PURE.get(module.name, PURE.get(module.room, set()))
    allowed = top in {"monitor", *named} or any(
        f"{found.target}.".startswith(f"{name}.") for name in STANDARD.split()
    )
    return (allowed or late) and not IMPURE_NAMES.match(found.target)


def test_pure_rooms_import_only_what_is_pure():
    """No clock, file, socket or thread can come in by an import."""
    bad = [
        f"{module.at(found.line)} imports {found.target}"
        for module in PURE_MODULES
        for found in module.imports()
        if not pure(module, found)
    ]

    assert not bad, "\n".join(bad)


def test_pure_rooms_ask_no_clock_and_open_no_file():
    """Time comes in as an argument, and so does all else."""
    bad = [
        f"{module.at(line)} calls {name}"
        for module in PURE_MODULES
        for name, line in module.calls()
        if name in IMPURE_CALLS.split()
    ]

    assert not bad, "\n".join(bad)


def test_loaders_exist():
    """An exception that stands for nothing is taken out of the table."""
    known = {m.name for m in MODULES}

    assert LOADERS.keys() <= known


def test_the_check_of_purity_can_fail():
    """A module that reads the clock or imports it is found out."""
    source = "import time\ndef f(c):\n    import scipy\n    return c.now(), open('x')\n"
    module = Module(ROOT / "monitor/heart/x.py", "monitor.heart.x", ast.parse(source))

    assert [pure(module, found) for found in module.imports()] == [False, False]
    assert {name for name, _ in module.calls()} & set(IMPURE_CALLS.split()) == {
        ".now",
        "open",
    }


def test_only_the_store_speaks_to_sqlite():
    """One writer: nobody opens the file beside the store."""
    bad = [
        m.at(i.line)
        for m in MODULES
        if m.room != "store"
        for i in m.imports()
        if i.target.split(".")[0] in {"sqlite3", "_sqlite3"}
    ]

    assert not bad, "\n".join(bad)


THREADED = {"service", "health", "demo"}
MAKES_THREADS = re.compile(
    r"(\bthreading\.(Thread|Timer)\b|\bThreadPoolExecutor\b|\b_thread\b"
    r"|from threading import [^\n]*\b(Thread|Timer)\b)"
)


def test_only_the_service_makes_threads():
    """Who starts a thread owns it: it is named, beats and is joined (S5)."""
    bad = [
        module.name
        for module in MODULES
        if module.room not in THREADED
        and MAKES_THREADS.search(module.path.read_text(encoding="utf-8"))
    ]

    assert not bad


def test_only_the_command_line_prints():
    """Programs that run for months log; stdout is for the answers of commands."""
    bad = [
        module.at(line)
        for module in MODULES
        if module.room not in {"cli", "demo"}
        for name, line in module.calls()
        if name == "print"
    ]

    assert not bad


def swallows(node: ast.AST) -> bool:
    """Whether everything is caught here and nothing comes of it."""
    if isinstance(node, ast.ExceptHandler):
        caught = ast.unparse(node.type) if node.type else "Exception"
        mute = all(
            isinstance(step, ast.Pass | ast.Continue)
            or (isinstance(step, ast.Expr) and isinstance(step.value, ast.Constant))
            for step in node.body
        )
    elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith("suppress"):
        caught = " ".join(ast.unparse(argument) for argument in node.args)
        mute = True
    else:
        return False
    return mute and bool(re.search(r"\b(Base)?Exception\b", caught))


def test_no_error_is_swallowed():
    """Whoever catches everything says or does something about it."""
    bad = [
        module.at(node.lineno)
        for module in MODULES
        for node in ast.walk(module.tree)
        if swallows(node)
    ]

    assert not bad


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("try:\n    f()\nexcept Exception:\n    pass\n", True),
        ("try:\n    f()\nexcept:\n    ...\n", True),
        ("with contextlib.suppress(Exception):\n    f()\n", True),
        ("try:\n    f()\nexcept Exception:\n    log()\n", False),
        ("try:\n    f()\nexcept FileNotFoundError:\n    pass\n", False),
    ],
)
def test_the_search_for_swallowed_errors_can_fail(source, found):
    """It finds what it is for, and lets pass what names an error or acts on it."""
    assert any(swallows(node) for node in ast.walk(ast.parse(source))) is found


def zoneless(node: ast.AST) -> bool:
    """Whether an instant is made that knows no zone."""
    return (
        isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and ast.unparse(node.func.value).endswith(("datetime", "date"))
        and (
            node.func.attr in {"utcnow", "utcfromtimestamp", "today"}
            or (node.func.attr == "now" and not node.args and not node.keywords)
        )
    )


def test_no_instant_without_a_zone_is_made():
    """``now`` names its zone, and ``utcnow`` is never called."""
    bad = [
        module.at(node.lineno)
        for module in MODULES
        for node in ast.walk(module.tree)
        if zoneless(node)
    ]

    assert not bad


def test_no_module_outgrows_a_reader():
    """A module that grows is split by subject."""
    long = {
        m.name: lines
        for m in MODULES
        if (lines := len(m.path.read_text(encoding="utf-8").splitlines())) > LONGEST
    }

    assert not long


TOP = {
    ".ci",
    ".gitignore",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "config",
    "deploy",
    "monitor",
    "pyproject.toml",
    "tests",
}


def test_nothing_lies_at_the_top_that_was_not_agreed():
    """A newcomer sees ten entries, each of which they need."""
    tops = {path.relative_to(ROOT).parts[0] for path in kept_files()}

    assert tops <= TOP, sorted(tops - TOP)


OUT_OF_PLACE = {
    "a path of one machine": r"(?<![\w.}-])/(?:work|root|home/\w+)(?:/|\b)(?!\w)",
    "a temporary path of one machine (use tmp_path or tempfile)": (
        r"[\"'\s=]/tmp(?:/|\b)(?!fs)"
    ),
    "the host of a package registry": (
        r"\b(?:pypi[.]org|pythonhosted[.]org|registry[.]npmjs[.]|deb[.]debian[.]"
        r"|security[.]debian[.]|proxy[.]golang[.]|static[.]crates[.])"
    ),
    "a word of nobody's trade here": r"(?i)\b(?:transc[r]ipts?|seed[ ]doc\w*)\b",
    "a secret": r"-----BEGIN [A-Z ]*PRIVATE KEY-----",
}


@pytest.mark.parametrize("what", OUT_OF_PLACE)
def test_no_kept_file_holds(what):
    """The project speaks of itself alone and runs on any machine."""
    pattern = re.compile(OUT_OF_PLACE[what])
    bad = []
    for path in kept_files():
        try:
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
        bad += [
            f"{path.relative_to(ROOT)}:{number} {line.strip()[:80]}"
            for number, line in enumerate(text.splitlines(), 1)
            if pattern.search(line)
        ]

    assert not bad, "\n".join(bad)


@pytest.mark.parametrize(
    ("what", "line"),
    [
        ("a path of one machine", "cd /wor" + "k/main"),
        ("a path of one machine", '"/roo' + 't/.cache"'),
        (
            "a temporary path of one machine (use tmp_path or tempfile)",
            'open("/tm' + 'p/x")',
        ),
        ("the host of a package registry", "https://pypi" + ".org/simple"),
    ],
)
def test_the_search_of_kept_files_can_fail(what, line):
    """Each pattern finds what it is for."""
    assert re.search(OUT_OF_PLACE[what], line)
