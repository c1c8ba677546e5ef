"""No file and no option may do worse than be refused in a sentence.

Run with ``python benchmarks/hostile_files.py files|options [CASES] [SEED]``. Whole
examples of every kind of file are damaged (bytes flipped, lines swapped, taken out,
doubled, values of other types, numbers beyond sense, nesting, other encodings; pipes,
devices and folders in their place) and read by the commands that take them; or options
of all commands get values beyond sense. All in this process, on simulated benches; what
was done is a function of the seed. Counted for each kind:

status
    how the commands ended;
foreign
    exceptions that are not the package's own, tracebacks among what was printed, and
    statuses that are none of 0, 1, 2, 3, 4 and 130;
hung
    more than 5 s of processor time, or two minutes by the clock;
long
    refusals of more than 3000 characters, which nobody reads.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: one core

import contextlib
import io
import random
import re
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from types import FrameType
from typing import Any

from typer.main import get_command

from halfpower.cli.app import app

INTERRUPTED = 130
ALLOWED = {0, 1, 2, 3, 4, INTERRUPTED}
CPU_S, CLOCK_S = 5.0, 120.0
MEMORY = 6 << 30  # bytes of address space: an allocation beyond sense fails at once
LONGEST = 3000
HUGE = "9" * 5000
VALUES = (
    *("", " ", "-", "--", "=", "0", "-1", "1", "3", "1e-300", "1e300", "1e400"),
    *("inf", "-inf", "nan", HUGE, "9" * 25, "1_000", "1,5", "0x10", "true"),
    *("\0", "a\0b", "a\nb", "a\rb", "\x1b[2J", "\u2028", "\u202e", "\udcff"),
    *("é" * 300, "x" * 100_000, "🦄", "%s%n", "{0}", "{label.__class__}", "[red]"),
    *("{number:9999999999}", "{label:9999999999}", "a=b", "inductance=1%"),
    *("1e-300Hz", "1e300Hz", "0Hz", "-5MHz", "5MHz", "1e12Hz", "nanHz", "5 MHz"),
    *("150pF", "150pF +- 1%", "150pF +- 1e9%", "1e-300F", "0F", "-5pF", "pF"),
    *("33uH", "1e-30H", "0.2V", "1e9V", "1mm", "0mm", "1e9mm", "1e-300m", "5%"),
    *("0%", "-5%", "1e300%", "100%", "u=1", "+-", "1 +- 1 +- 1", "300 +- 15"),
    *(".", "..", "/", "/dev/zero", "/dev/full", "/dev/null", "/nowhere/a/b"),
    *("pipe", "folder", "x" * 300 + ".csv", "a.png", "a.html", "a.svg", "a.pdf"),
    *("kit-coil", "choke-lot", "line-trap", "auto", "dial", "series", "sqlite://"),
    *("COM1", "/dev/ttyS0", "TCPIP0::", "ASRL/dev/zero::INSTR", "::::", "@py"),
)
TOML_VALUES = (
    *("[]", "{}", "[[]]", "{a = 1}", "true", "0", "-1", "1", "1e-300", "1e300", "inf"),
    *("-inf", "nan", "9" * 25, HUGE, "1e400", '""', '" "', "1979-05-27", "07:32:00"),
    *(
        "[" * 3000,
        "[" * 3000 + "]" * 3000,
        "{a=" * 2000,
        "x." * 3000,
        "1.5",
        "[1, 'a']",
    ),
)
CSV_VALUES = (
    *("", " ", "nan", "inf", "-inf", "1e-300", "1e300", "1e400", "0", "-1", HUGE, "#"),
    *("\0", '"', "1,5", "1;5", "x" * 200_000, "[[[[", "1e-320", "1e154", "7e6", "1.0"),
)


class HungError(BaseException):
    """A case took too long."""


class Findings(list[str]):
    """What is to be mended, told on standard error as it comes as well."""

    def append(self, text: str) -> None:
        """Keep it, and tell it."""
        print(text, file=sys.__stderr__, flush=True)
        super().append(text)


@dataclass
class Tally:
    """What became of one kind's cases."""

    statuses: Counter[int] = field(default_factory=Counter)
    foreign: list[str] = field(default_factory=Findings)
    hung: list[str] = field(default_factory=Findings)
    long: list[str] = field(default_factory=Findings)

    @property
    def is_clean(self) -> bool:
        """Whether nothing is to be mended."""
        return not (self.foreign or self.hung or self.long)


Tallies = dict[str, Tally]


def _run(args: Sequence[str], tally: Tally, *, what: str, clock_s: float) -> None:
    """Give the program these arguments; see how it ends."""

    def hung(number: int, frame: FrameType | None) -> None:
        del number, frame
        raise HungError

    said = f"{what}: {' '.join(repr(one[:60]) for one in args)}"
    out, err = io.StringIO(), io.StringIO()
    ours = (signal.SIGPROF, signal.SIGALRM)
    others = [signal.signal(number, hung) for number in ours]
    before = sys.stdin
    try:
        sys.stdin = io.StringIO()
        signal.setitimer(signal.ITIMER_PROF, CPU_S, 1.0)  # again, where it is lost
        signal.setitimer(signal.ITIMER_REAL, clock_s, 1.0)
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            COMMAND.main(list(args), prog_name="halfpower")
        status: object = 0
    except SystemExit as ended:
        status = ended.code or 0
    except HungError:
        where = traceback.format_exc().splitlines()
        tally.hung.append(f"{said}\n    {' | '.join(where[-8:-1])}")
        return
    except BaseException as error:  # noqa: BLE001 - to find these is the job
        where = [
            f"{one.filename.rpartition('/halfpower/')[2][-40:]}:{one.lineno}"
            for one in traceback.extract_tb(error.__traceback__)[-4:]
        ]
        kind = f"{type(error).__name__}: {str(error)[:100]}"
        tally.foreign.append(f"{said}\n    {kind} at {' '.join(where)}")
        return
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        for number, other in zip(ours, others, strict=True):
            signal.signal(number, other)
        sys.stdin = before
    _judge(status, err.getvalue()[: 10 * LONGEST], tally, said=said, args=args)
    if status == INTERRUPTED and clock_s > SERVED_S:  # a limit that was minded
        tally.hung.append(f"{said}\n    interrupted")


def _judge(
    status: object, err: str, tally: Tally, *, said: str, args: Sequence[str]
) -> None:
    code = status if isinstance(status, int) else -1
    tally.statuses[code] += 1
    if code not in ALLOWED or "Traceback" in err:
        tally.foreign.append(f"{said}\n    status {status}: {err[-300:]}")
    # A refusal says what was given; a caution and what was kept stand before it.
    if code and len(err) - sum(map(len, args)) > LONGEST:
        tally.long.append(f"{said}\n    {len(err)} characters")


COMMAND: Any = get_command(app)


# Files


@dataclass(frozen=True)
class Kind:
    """A kind of file: an example, and how it is read.

    ``beside`` are files by name that stand beside it; ``{}`` is its own place.
    """

    name: str
    text: str
    suffix: str
    args: tuple[str, ...]
    beside: tuple[tuple[str, str], ...] = ()


SPAN = ("--from", "6MHz", "--to", "9MHz", "--most-readings", "60", "--target", "5%")
SCENE = ("--scene", "kit-coil")
LINEARISATION = """\
schema = "halfpower.linearisation/1"
made = 2026-01-02T03:04:05Z
frequency_hz = 7100000.0
generator = "invented,generator,1,1"
detector = "HALFPOWER SIM,SCOPE,0,1"
left_over = 0.001
indicated_v = [
  0.001,
  0.01,
  0.1,
]
true_v = [0.001, 0.0101, 0.1]
slope = [1.0, 1.0, 1.0]
"""
RECORD = """\
schema = "halfpower.fixture-record/1"
made = 2026-01-02T03:04:05+00:00
fixture = "coupled-tank"
generator = "invented,generator,1,1"
detector = "invented,scope,1,1"
frequency_hz = 3000000.0
stray_capacitance = "5pF u=0.2pF"
probe_capacitance = "10pF u=0.3pF"
probe_resistance = "0.9Mohm u=50kohm"
"""


def _bundled(package: str, *parts: str) -> str:
    return resources.files(f"halfpower.{package}").joinpath(*parts).read_text("utf-8")


def _cut_short() -> str:
    """Measure, and take away what came last, as an interruption would."""
    with _elsewhere() as folder, contextlib.redirect_stdout(io.StringIO()):
        with contextlib.suppress(SystemExit):
            COMMAND.main(["sweep", *SPAN, *SCENE, "--readings", "r.csv"], "halfpower")
        lines = (folder / "r.csv").read_text("utf-8").splitlines(keepends=True)
    return "".join(lines[:-5])


def _readings() -> str:
    """Write an exact resonance at 7.1 MHz with a Q of 80."""
    lines = ["# of: nothing that exists"]
    lines.append("frequency_hz,amplitude_v,range_v,time_s,phase,capacitance_f,step")
    for n in range(31):
        x = 1.0 + (n - 15) / 15 * 0.03
        amplitude = x / (1.0 + (80.0 * (x - 1.0 / x)) ** 2) ** 0.5
        lines.append(f"{7.1e6 * x!r},{amplitude!r},1.0,{n / 10:.6f},survey,,")
    return "\n".join(lines) + "\n"


def kinds() -> list[Kind]:
    """Give an example of every kind of file, and the command that reads it."""
    bench = _bundled("cli.at_bench", "benches", "kit-coil.toml")
    scene = _bundled("sim", "scenes", "kit-coil.toml")
    fixture = _bundled("sim", "fixtures", "coupled-tank.toml")
    lot = _bundled("cli.lots", "choke-lot.toml")
    lot = lot.replace("size = 200", "size = 1").replace("every = 50", "every = 5")
    reads = ("predict", "capacitors", "--have", "150pF", *SCENE, "--bench")
    sweeps = ("sweep", *SPAN, *SCENE)

    def named(table: str, line: str) -> tuple[tuple[str, str], ...]:
        return (("b.toml", bench.replace(f"[{table}]", f"[{table}]\n{line}")),)

    spoken = bench.replace('"scope-vrms"', '"f.toml"')
    placed = scene.replace('"coupled-tank"', '"f.toml"')
    return [
        Kind("bench", bench, ".toml", (*reads, "{}")),
        Kind("bench, swept", bench, ".toml", (*sweeps, "--bench", "{}")),
        Kind(
            "dialect",
            _bundled("drivers.dialects", "scope-vrms.toml"),
            ".toml",
            (*sweeps, "--bench", "b.toml"),
            (("b.toml", spoken),),
        ),
        Kind(
            "linearisation",
            LINEARISATION,
            ".toml",
            (*sweeps, "--bench", "b.toml"),
            named("detector", 'linearisation = "f.toml"'),
        ),
        Kind(
            "fixture record",
            RECORD,
            ".toml",
            (*reads, "b.toml"),
            named("fixture", 'record = "f.toml"'),
        ),
        Kind("scene", scene, ".toml", ("sim", "show", "{}")),
        Kind(
            "scene, swept",
            scene,
            ".toml",
            ("sweep", *SPAN, "--bench", "b.toml", "--scene", "{}"),
            (("b.toml", bench),),
        ),
        Kind(
            "scene's fixture",
            fixture,
            ".toml",
            ("sim", "show", "s.toml"),
            (("s.toml", placed),),
        ),
        Kind(
            "lot",
            lot,
            ".toml",
            ("lot", "run", "{}", "--scene", "choke-lot", "--records", "r.sqlite"),
        ),
        Kind("readings", _readings(), ".csv", ("fit", "{}")),
        Kind("readings, gone on", _cut_short(), ".csv", (*sweeps, "--resume", "{}")),
        Kind(
            "history of checks",
            "begun,part,resonant_frequency,loaded_q\n"
            + "".join(
                f"2026-01-02T03:04:05Z,reference on 150 pF,{7.2e6 + n},{85 + n}\n"
                for n in range(6)
            ),
            ".csv",
            (
                "fixture",
                "check",
                *SCENE,
                *SPAN,
                "--capacitor",
                "150pF",
                *("--history", "{}"),
            ),
        ),
    ]


def damaged(text: str, draw: random.Random, *, is_csv: bool) -> bytes:
    """Damage a text in one to three of the ways that the head of this file names."""
    content = text.encode()
    for _ in range(draw.choice((1, 1, 1, 2, 3))):
        content = draw.choice(WAYS)(content, draw, is_csv)
    return content


Way = Callable[[bytes, random.Random, bool], bytes]


def _flipped(content: bytes, draw: random.Random, is_csv: bool) -> bytes:  # noqa: FBT001
    del is_csv
    changed = bytearray(content)
    for _ in range(draw.randint(1, 5) if content else 0):
        changed[draw.randrange(len(changed))] ^= 1 << draw.randrange(8)
    return bytes(changed)


def _lines_moved(content: bytes, draw: random.Random, is_csv: bool) -> bytes:  # noqa: FBT001
    del is_csv
    lines = content.split(b"\n")
    one, other = draw.randrange(len(lines)), draw.randrange(len(lines))
    way = draw.randrange(4)
    if way == 0:
        lines[one], lines[other] = lines[other], lines[one]
    elif way == 1:
        del lines[min(one, other) : min(one, other) + draw.randint(1, 4)]
    elif way == 2:  # noqa: PLR2004
        lines.insert(one, lines[other])
    else:
        lines[one:one] = lines * draw.randint(1, 20)
    return b"\n".join(lines)


def _value_changed(content: bytes, draw: random.Random, is_csv: bool) -> bytes:  # noqa: FBT001
    lines = content.decode("utf-8", "replace").split("\n")
    places = [n for n, line in enumerate(lines) if ("," if is_csv else "=") in line]
    if not places:
        return content
    n = draw.choice(places)
    if is_csv:
        cells = lines[n].split(",")
        cells[draw.randrange(len(cells))] = draw.choice(CSV_VALUES)
        lines[n] = ",".join(cells)
    else:
        value = draw.choice(TOML_VALUES)
        if draw.random() < 0.6:  # noqa: PLR2004
            text = draw.choice(VALUES).encode("utf-8", "replace").decode()
            escaped = "".join(
                c if c.isprintable() else f"\\u{ord(c):04x}" for c in text
            )
            value = f'"{escaped}"'
        lines[n] = f"{lines[n].partition('=')[0]}= {value}"
    return "\n".join(lines).encode("utf-8", "replace")


def _number_changed(content: bytes, draw: random.Random, is_csv: bool) -> bytes:  # noqa: FBT001
    """Put another number in a number's place, its unit left: most are taken."""
    del is_csv
    found = list(re.finditer(rb"[0-9]+(\.[0-9]+)?(e-?[0-9]+)?", content))
    if not found:
        return content
    one = draw.choice(found)
    size = f"{draw.choice((1, 3, 9))}e{draw.choice((-300, -30, -9, -3, 3, 9, 30, 300))}"
    number = draw.choice(
        ("0", "1", "-1", "1000", "0.001", "1000000", "99999999999", size)
    )
    return content[: one.start()] + number.encode() + content[one.end() :]


def _keys_changed(content: bytes, draw: random.Random, is_csv: bool) -> bytes:  # noqa: FBT001
    lines = content.split(b"\n")
    n = draw.randrange(len(lines))
    if is_csv:
        lines[n] = draw.choice((b"# asked for: " + b"[" * 100_000, b'"' * 3, b",,,,"))
    else:
        odd = (b"[" * 50 + b"a" + b"]" * 50, b"a." * 30_000 + b"b = 1", b"[[lot]]")
        lines[n] = draw.choice(
            (*odd, b"['\\u0000']", b'"a\\u0000" = 1', b"[generator]")
        )
    return b"\n".join(lines)


def _encoded(content: bytes, draw: random.Random, is_csv: bool) -> bytes:  # noqa: FBT001
    del is_csv
    text = content.decode("utf-8", "replace")
    way = draw.randrange(8)
    if way < 3:  # noqa: PLR2004
        return text.replace("\n", ("\r\n", "\r", "\n\r\n")[way]).encode()
    if way < 5:  # noqa: PLR2004
        return f"é{text}µ".encode(("utf-16", "latin-1")[way - 3], "replace")
    if way == 5:  # noqa: PLR2004
        return b"\xef\xbb\xbf" + content
    if way == 6:  # noqa: PLR2004
        return content[: draw.randrange(len(content) + 1)]
    place = draw.randrange(len(content) + 1)
    return content[:place] + b"x" * 1_000_000 + content[place:]


WAYS: tuple[Way, ...] = (
    *(_flipped, _lines_moved, _value_changed, _value_changed, _keys_changed, _encoded),
    *(_number_changed, _number_changed, _number_changed, _number_changed),
)


def _odd_things(path: Path, draw: random.Random) -> None:
    """Put something that is no file in a file's place."""
    way = draw.randrange(5)
    if way == 0:
        os.mkfifo(path)
    elif way == 1:
        path.mkdir()
    elif way == 2:  # noqa: PLR2004
        path.write_bytes(b"")
        os.truncate(path, 1 << 40)  # a file with a hole, a terabyte long
    else:
        path.symlink_to(draw.choice(("/dev/zero", "/dev/full", "nowhere", path.name)))


def try_files(cases: int, seed: int) -> Tallies:
    """Read damaged files of every kind in turn."""
    tallies: Tallies = defaultdict(Tally)
    every = kinds()
    for n in range(-len(every), cases):  # those below zero are whole
        draw = random.Random(f"{seed}-{n}")  # noqa: S311
        kind = every[n % len(every)]
        with _elsewhere() as folder:
            for name, text in kind.beside:
                (folder / name).write_text(text, "utf-8")
            path = folder / f"f{kind.suffix}"
            if n < 0:
                path.write_text(kind.text, "utf-8")
            elif draw.random() < 0.02:  # noqa: PLR2004
                _odd_things(path, draw)
            else:
                path.write_bytes(damaged(kind.text, draw, is_csv=path.suffix == ".csv"))
            args = [one.replace("{}", path.name) for one in kind.args]
            _run(args, tallies[kind.name], what=f"case {n}", clock_s=CLOCK_S)
            if n < 0 and 2 in tallies[kind.name].statuses:  # noqa: PLR2004
                raise SystemExit(f"the whole example of a {kind.name} is refused")
    return tallies


# Options

KEPT = "bag (simulated: choke-lot, seed 0)"
GOOD: dict[str, tuple[str, ...]] = {
    "demo": (),
    "sweep": (*SCENE, *SPAN),
    "coil": (*SCENE, *SPAN, "--capacitor", "150pF +- 1%"),
    "capacitor": ("--scene", "mica-capacitor", "--from", "1MHz", "--to", "6MHz"),
    "sheet": (
        "--scene",
        "board-sheet",
        "--from",
        "1MHz",
        "--to",
        "4MHz",
        *("--diameter", "50mm", "--thickness", "1.6mm"),
    ),
    "fit": ("good.csv",),
    "marking": ("104K", "--kind", "capacitor"),
    "bench list": SCENE,
    "bench check": (*SCENE, "--frequency", "7MHz"),
    "bench learn": ("TCPIP0::192.0.2.10::inst0::INSTR", *SCENE),
    "bench linearise": (*SCENE, "--frequency", "7MHz", "--levels", "5"),
    "fixture measure": (
        "--scene",
        "coil-set",
        "--from",
        "1MHz",
        "--to",
        "5MHz",
        *("--capacitor", "68pF", "--capacitor", "680pF", "--self-capacitance", "4pF"),
    ),
    "fixture check": (*SCENE, *SPAN, "--capacitor", "150pF", "--history", "h.csv"),
    "lot run": ("lot.toml", "--scene", "choke-lot", "--records", "r.sqlite"),
    "lot show": (KEPT, "--records", "made.sqlite"),
    "lot match": (KEPT, "--within", "inductance=1%", "--records", "made.sqlite"),
    "lot labels": (KEPT, "labels.svg", "--records", "made.sqlite"),
    "lot gauge": (KEPT, "--records", "made.sqlite"),
    "records list": ("--records", "made.sqlite"),
    "records show": (KEPT, "1", "--records", "made.sqlite"),
    "records export": (KEPT, "out", "--records", "made.sqlite"),
    "records rework": (KEPT, "--reason", "why", "--records", "made.sqlite"),
    "records verify": ("--records", "made.sqlite"),
    "records seal": ("--records", "made.sqlite"),
    "records adopt": ("side.jsonl", "--records", "made.sqlite"),
    "predict capacitors": (*SCENE, "--have", "150pF"),
    "predict coil": (
        "--diameter",
        "25mm",
        "--turns",
        "20",
        "--wire",
        "0.8mm",
        *("--pitch", "1mm"),
    ),
    "predict toroid": ("--turns", "20", "--al", "4.9nH"),
    "predict plates": ("--diameter", "50mm", "--gap", "1mm"),
    "predict resonance": ("--inductance", "3.3uH", "--capacitance", "150pF"),
    "sim list": (),
    "sim show": ("kit-coil",),
    "sim serve": ("kit-coil",),
}
SERVED_S = 0.3  # served until then, which is not hung


def _commands(command: Any, names: tuple[str, ...] = ()) -> Iterator[tuple[str, Any]]:
    for name, one in getattr(command, "commands", {}).items():
        yield from _commands(one, (*names, name))
    if not hasattr(command, "commands"):
        yield " ".join(names), command


def try_options(cases: int, seed: int) -> Tallies:
    """Give one to three options of every command in turn values beyond sense."""
    tallies: Tallies = defaultdict(Tally)
    every = list(_commands(COMMAND))
    with tempfile.TemporaryDirectory() as made:
        base = _made_base(Path(made))
        for n in range(-len(every), cases):  # those below zero are as they should be
            draw = random.Random(f"{seed}-{n}")  # noqa: S311
            name, command = every[n % len(every)]
            args = list(GOOD[name])
            if n >= 0:
                args = _with_odd_values(args, command, draw)
            with _elsewhere() as folder:
                os.mkfifo(folder / "pipe")
                (folder / "folder").mkdir()
                (folder / "good.csv").write_text(_readings(), "utf-8")
                (folder / "lot.toml").write_text(LOT, "utf-8")
                (folder / "side.jsonl").write_text("", "utf-8")
                if "made.sqlite" in args:
                    (folder / "made.sqlite").write_bytes(base)
                _run(
                    [*name.split(), *args],
                    tallies[name],
                    what=f"case {n}",
                    clock_s=SERVED_S if name == "sim serve" else CLOCK_S,
                )
                one = n < 0 and name != "lot gauge"  # it wants more than one lot
                if one and 2 in tallies[name].statuses:  # noqa: PLR2004
                    raise SystemExit(f"{name} {args} is refused")
    served = tallies.get("sim serve")
    if served is not None:
        served.statuses[130] += len(served.hung)
        served.hung.clear()
    return tallies


LOT = """\
[lot]
name = "bag"
procedure = "coil"
size = 2
[measure]
from = "700kHz"
to = "2.2MHz"
target = "5%"
capacitor = "470pF +- 1%"
[limit.inductance]
nominal = "33uH"
tolerance = "10%"
"""


def _made_base(folder: Path) -> bytes:
    """Measure a lot of two parts, under the name that the commands ask for."""
    (folder / "lot.toml").write_text(LOT, "utf-8")
    where = str(folder / "made.sqlite")
    with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):
        COMMAND.main(
            [
                "lot",
                "run",
                str(folder / "lot.toml"),
                *("--scene", "choke-lot", "--records", where),
            ],
            prog_name="halfpower",
        )
    return Path(where).read_bytes()


def _with_odd_values(args: list[str], command: Any, draw: random.Random) -> list[str]:
    """Put values beyond sense into arguments, never a bench that is not simulated."""
    own = [one for one in command.params if one.name not in {"scene", "present"}]
    for one in draw.sample(own, min(len(own), draw.randint(1, 3))):
        value = draw.choice(VALUES).replace("\0", "\1")  # which no argument can hold
        if one.param_type_name == "argument":
            at = next(
                (n for n, arg in enumerate(args) if not arg.startswith("-")), None
            )
            if at == 0:
                args[0] = value
        elif getattr(one, "is_flag", False):
            args.append(one.opts[0])
        elif one.opts[0] in args and not one.multiple:
            args[args.index(one.opts[0]) + 1] = value
        else:
            args += [one.opts[0], value]
    return args


@contextlib.contextmanager
def _elsewhere() -> Iterator[Path]:
    """Work in a folder that is taken away afterwards; the user's own data too."""
    before, data = Path.cwd(), os.environ.get("XDG_DATA_HOME")
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
        os.chdir(name)
        os.environ["XDG_DATA_HOME"] = name
        try:
            yield Path(name)
        finally:
            os.chdir(before)
            os.environ.pop("XDG_DATA_HOME")
            if data is not None:
                os.environ["XDG_DATA_HOME"] = data


def main() -> None:
    """Run what is asked for, and print the table."""
    what = sys.argv[1] if len(sys.argv) > 1 else "files"
    cases = int(sys.argv[2]) if len(sys.argv) > 2 else 6000  # noqa: PLR2004
    seed = int(sys.argv[3]) if len(sys.argv) > 3 else 1  # noqa: PLR2004
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    began_s = time.process_time()
    tallies = {"files": try_files, "options": try_options}[what](cases, seed)
    codes = sorted({code for one in tallies.values() for code in one.statuses})
    print(f"{'':20}", *(f"{code:>6}" for code in codes), "foreign   hung   long")
    for name, one in tallies.items():
        counts = (f"{one.statuses[code]:6}" for code in codes)
        ends = f"{len(one.foreign):7} {len(one.hung):6} {len(one.long):6}"
        print(f"{name:20}", *counts, ends)
    cpu_s = time.process_time() - began_s
    print(f"{cases} cases with seed {seed}, {cpu_s:.0f} s of processor time")
    for name, one in tallies.items():
        for text in (*one.foreign, *one.hung, *one.long):
            print(f"{name}, {text}")
    sys.exit(not all(one.is_clean for one in tallies.values()))


if __name__ == "__main__":
    main()
