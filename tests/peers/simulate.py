"""Video sources in Verilog and VHDL, run by Icarus Verilog and GHDL: captures that rastertap did not make.

The simulators write the VCD; the HDL test benches write the true pictures and facts. Nothing here imports
rastertap.
"""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

HDL = Path(__file__).parent / "hdl"
PICTURES = ("noise", "bars", "bars_component")
INSTALL = {
    "iverilog": "sudo apt-get install --yes iverilog",
    "vvp": "sudo apt-get install --yes iverilog",
    "ghdl": "sudo apt-get install --yes ghdl",
}
COLOUR_BITS = {3: "R G B", 4: "I R G B", 6: "R r G g B b", 24: "R8 G8 B8"}
"""What the bits of a colour code mean, most significant first; any other width is a plain code."""

Sync = Literal["separate", "composite", "both"]
Polarity = Literal["positive", "negative"]


@dataclass(frozen=True)
class Options:
    """What a source shows and on which pins.

    Parameters
    ----------
    sync : "separate", "composite" or "both"
        Which sync pins are recorded; ``vga640`` has separate syncs only.
    csync_style : "pulses" or "xor"
        Composite sync with equalising and broad pulses, or plain hsync xor vsync.
    bits : int, 1..24
        Width of the colour bus; `COLOUR_BITS` gives the meaning.
    picture : one of `PICTURES`
        ``bars_component`` (Verilog only) needs 24 bits.
    moving : bool
        True: every field has another picture.
    launch_edge : "rising" or "falling"
        Pixel-clock edge at which sync and bus change.
    bus_delay_ps : int
        From that edge to the bus and display enable.
    cpu_divider : int
        0, or an even number: records a clock of pixel clock / n.
    subcarrier : bool
        Records pixel clock / 2 (``sd525`` only: 3.58 MHz).
    enable : "none", "display_enable" or "blank"
        Which of the two, if any, is recorded.
    enable_polarity : "positive" or "negative"
        Of that pin: positive is high where the name says (displaying; blanking).
    whole_design : bool
        Records every signal of the bench, integers and nested scopes included, as well.
    geometry : mapping of str to int or bool
        HDL parameters by their HDL names, e.g. ``{"LINES": 313}``; see the bench.
    """

    sync: Sync = "separate"
    csync_style: Literal["pulses", "xor"] = "pulses"
    bits: int = 4
    picture: str = "noise"
    moving: bool = False
    launch_edge: Literal["rising", "falling"] = "rising"
    bus_delay_ps: int = 0
    cpu_divider: int = 0
    subcarrier: bool = False
    enable: Literal["none", "display_enable", "blank"] = "none"
    hsync_polarity: Polarity = "negative"
    vsync_polarity: Polarity = "negative"
    csync_polarity: Polarity = "negative"
    enable_polarity: Polarity = "positive"
    whole_design: bool = False
    geometry: Mapping[str, int] = field(default_factory=dict)

    @property
    def enable_high(self) -> bool:
        """Whether the bench's enable pin is high while displaying."""
        return (self.enable == "blank") != (self.enable_polarity == "positive")


@dataclass(frozen=True)
class Source:
    """One HDL source under one name: core, defaults, and how many fields are quick to simulate."""

    core: Literal["vga640", "sd525", "sd625"]
    standard: str
    fields: int
    options: Options


SOURCES = {
    "vga640": Source("vga640", "640x480/60", 2, Options(bits=3)),
    "sd525-262": Source("sd525", "525/60", 3, Options(sync="composite", bits=6)),
    "sd525-263": Source("sd525", "525/60", 3, Options(sync="composite", bits=6, geometry={"LINES": 263})),
    "sd525-interlaced": Source(
        "sd525",
        "525/60",
        3,
        Options(
            sync="composite",
            bits=6,
            geometry={"LINES": 525, "INTERLACED": 1, "ACTIVE_Y": 18, "HEIGHT": 240, "START_HALF": 390},
        ),
    ),
    "sd625-312": Source("sd625", "625/50", 3, Options()),
    "sd625-interlaced": Source(
        "sd625",
        "625/50",
        3,
        Options(
            sync="composite",
            geometry={
                "LINES": 625,
                "INTERLACED": True,
                "ACTIVE_Y": 23,
                "HEIGHT": 280,
                "VSYNC_HALVES": 5,
                "START_HALF": 468,
            },
        ),
    ),
    # An odd line of a home computer: 8 MHz / 509 = 15.717 kHz, 311 lines.
    "sd625-odd": Source(
        "sd625",
        "625/50",
        3,
        Options(
            enable="blank",
            geometry={
                "MASTER_FS": 62_500_000,
                "CLOCKS": 509,
                "LINES": 311,
                "ACTIVE_X": 104,
                "WIDTH": 384,
                "ACTIVE_Y": 60,
                "HEIGHT": 192,
            },
        ),
    ),
}


@dataclass(frozen=True, eq=False)
class TrueField:
    """One whole field as the test bench says it was shown.

    Parameters
    ----------
    number : int
        0 is the first whose start lies in the simulation.
    parity : int
        0: its vertical sync starts with a line sync (always so without interlace); 1: midway between two.
    start_s : Fraction
        Leading edge of its vertical sync (first broad pulse), seconds of simulated time.
    codes : ndarray of uint32, shape (height, width)
        Active colour codes.
    """

    number: int
    parity: int
    start_s: Fraction
    codes: NDArray[np.uint32]


@dataclass(frozen=True, eq=False)
class Simulated:
    """A simulator's capture and its truth.

    ``truth`` has these keys:

    clock_hz : Fraction
    pixels_per_line, lines_per_frame, bits, blanking_code : int
    lines_per_field : Fraction
    interlaced : bool
    standard, sync, launch_edge, colour_bits : str
    bus_delay_s : Fraction
    roles : dict of channel name to (role, bit or None)
    polarity : dict of role to "positive" or "negative"
    active : dict
        ``x``: launch edges from the one that leads hsync to the one that starts the first pixel. ``y``: lines
        from the leading edge of vertical sync to the start of the first active line, by parity, Fractions.
        ``first_frame_row``: by parity. ``width``, ``height``: of one field.
    """

    name: str
    vcd: Path
    fields: tuple[TrueField, ...]
    truth: dict[str, Any]

    @property
    def pictures(self) -> list[NDArray[np.uint32]]:
        """True active codes of each whole field, in the order shown."""
        return [one.codes for one in self.fields]


def simulate(name: str, workdir: Path, *, fields: int | None = None, **params: Any) -> Simulated:
    """Run the source ``name`` (a key of `SOURCES`) from mid-field until ``fields`` whole fields have passed.

    Parameters
    ----------
    name : str
        Key of `SOURCES`.
    workdir : Path
        Empty folder; takes ``source.vcd``, ``pictures.txt``, ``facts.txt``.
    fields : int, optional
        Whole fields; the source's own number when left out.
    **params
        Fields of `Options` to change; ``geometry`` is merged with the source's own.

    Raises
    ------
    FileNotFoundError
        When the simulator is not installed; gives the command that installs it.
    RuntimeError
        When a simulator refuses; gives its words.
    """
    source = SOURCES[name]
    geometry = {**source.options.geometry, **params.pop("geometry", {})}
    options = replace(source.options, geometry=geometry, **params)
    _refuse_the_impossible(source, options)
    workdir.mkdir(parents=True, exist_ok=True)
    generics = _generics(source, options) | {"FIELDS": fields or source.fields}
    if source.core == "sd625":
        _run_ghdl(source.core, generics, _recorded(source, options), workdir)
    else:
        _run_icarus(source.core, generics, workdir)
    facts = dict(_fact(line) for line in (workdir / "facts.txt").read_text().splitlines())
    shown = tuple(_read_pictures(workdir / "pictures.txt"))
    return Simulated(name, workdir / "source.vcd", shown, _truth(source, options, facts))


def _refuse_the_impossible(source: Source, options: Options) -> None:
    if source.core == "vga640" and (options.sync != "separate" or options.csync_style != "pulses"):
        raise ValueError("vga640 has separate syncs only")
    if options.subcarrier and source.core != "sd525":
        raise ValueError("only sd525 has a pixel clock of twice the subcarrier")
    if options.picture == "bars_component" and (source.core == "sd625" or options.bits != 24):
        raise ValueError("bars_component is for the Verilog sources with 24 bits")
    if options.cpu_divider % 2:
        raise ValueError("the divided clock needs an even divider")


def _generics(source: Source, options: Options) -> dict[str, int]:
    """HDL parameters of the bench, by their HDL names."""
    generics: dict[str, int] = {
        "BITS": options.bits,
        "MODE": PICTURES.index(options.picture),
        "MOVING": options.moving,
        "RISING": options.launch_edge == "rising",
        "BUS_DELAY_PS": options.bus_delay_ps,
        "CPU_DIVIDER": options.cpu_divider or 4,
        "HSYNC_HIGH": options.hsync_polarity == "positive",
        "VSYNC_HIGH": options.vsync_polarity == "positive",
        "ENABLE_HIGH": options.enable_high,
    }
    if source.core != "vga640":
        generics["XOR_SYNC"] = options.csync_style == "xor"
        generics["CSYNC_HIGH"] = options.csync_polarity == "positive"
    if source.core != "sd625":  # GHDL is given the recorded signals in a file instead
        generics["DUMP_CPU"] = options.cpu_divider > 0
        generics["DUMP_ENABLE"] = options.enable != "none"
        generics["DUMP_ALL"] = options.whole_design
    if source.core == "sd525":
        generics["DUMP_SEPARATE"] = options.sync != "composite"
        generics["DUMP_COMPOSITE"] = options.sync != "separate"
        generics["DUMP_SUBCARRIER"] = options.subcarrier
    return generics | dict(options.geometry)


def _recorded(source: Source, options: Options) -> list[str]:
    """Names of the bench's signals that are recorded; empty for all of them."""
    if options.whole_design and source.core == "sd625":
        return []
    return list(_signals(options))


def _signals(options: Options) -> dict[str, str]:
    """Bench signal -> role, for those that count as pins."""
    signals = {"pixel_clock": "pixel_clock"}
    if options.sync != "composite":
        signals |= {"hsync": "hsync", "vsync": "vsync"}
    if options.sync != "separate":
        signals["csync"] = "csync"
    if options.enable != "none":
        signals["enable"] = options.enable
    if options.cpu_divider:
        signals["cpu_clock"] = "other"
    if options.subcarrier:
        signals["subcarrier"] = "subcarrier"
    return signals | {"colour": "colour"}


def _tool(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        raise FileNotFoundError(f"{name} is not installed; install it with: {INSTALL[name]}")
    return found


def _run(command: Sequence[str], workdir: Path) -> None:
    done = subprocess.run(command, cwd=workdir, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"{' '.join(command)}\n{done.stdout}{done.stderr}")


def _run_icarus(core: str, generics: Mapping[str, int], workdir: Path) -> None:
    bench = f"{core}_bench"
    files = [HDL / f"{core}.v", *([HDL / f"{bench}.v"] if (HDL / f"{bench}.v").exists() else [])]
    given = [f"-P{bench}.{name}={int(value)}" for name, value in generics.items()]
    compile_it = [_tool("iverilog"), "-g2012", "-I", str(HDL), "-s", bench, "-o", "bench.vvp", *given]
    _run([*compile_it, *map(str, files)], workdir)
    _run([_tool("vvp"), "-n", "bench.vvp"], workdir)


def _run_ghdl(core: str, generics: Mapping[str, int], recorded: Sequence[str], workdir: Path) -> None:
    bench = f"{core}_bench"
    given = [f"-g{name}={str(value).lower()}" for name, value in generics.items()]
    files = [str(HDL / file) for file in ("picture.vhd", f"{core}.vhd", f"{bench}.vhd")]
    _run([_tool("ghdl"), "-a", "--std=08", *files], workdir)
    waves = ["--vcd=source.vcd"]
    if recorded:
        (workdir / "recorded.opt").write_text(
            "$ version 1.1\n" + "".join(f"/{bench}/{name}\n" for name in recorded)
        )
        waves.append("--read-wave-opt=recorded.opt")
    _run([_tool("ghdl"), "--elab-run", "--std=08", bench, *given, *waves], workdir)


def _fact(line: str) -> tuple[str, int]:
    name, value = line.split()
    return name, int(value)


def _read_pictures(path: Path) -> list[TrueField]:
    """Read the bench's pictures; a header alone repeats the last picture of its parity."""
    fields: list[TrueField] = []
    for block in path.read_text().split("field ")[1:]:
        header, _, rows = block.partition("\n")
        number, _, parity, _, nanoseconds, femtoseconds = header.split()
        if rows:
            codes = np.array([row.split() for row in rows.splitlines()]).astype(np.uint32)
        else:
            codes = next(one.codes for one in reversed(fields) if one.parity == int(parity))
        start = Fraction(int(nanoseconds) * 10**6 + int(femtoseconds), 10**15)
        fields.append(TrueField(int(number), int(parity), start, codes))
    return fields


def _truth(source: Source, options: Options, facts: Mapping[str, int]) -> dict[str, Any]:
    """Put the bench's facts and the options together in the terms of the trade."""
    interlaced = bool(facts["interlaced"])
    lines = facts["lines_per_frame"]
    offset = Fraction(facts["second_field_offset_halves"], 2) if interlaced else Fraction(0)
    scope = f"{source.core}_bench"
    roles: dict[str, tuple[str, int | None]] = {}
    for signal, role in _signals(options).items():
        if signal != "colour":
            roles[f"{scope}.{signal}"] = (role, None)
        else:
            roles |= {f"{scope}.colour[{bit}]": ("colour", bit) for bit in range(options.bits)}
    polarities = {
        "hsync": options.hsync_polarity,
        "vsync": options.vsync_polarity,
        "csync": options.csync_polarity,
        options.enable: options.enable_polarity,
    }
    present = {role for role, _ in roles.values()}
    return {
        "clock_hz": Fraction(10**15, facts["clock_fs"]),
        "pixels_per_line": facts["clocks_per_line"],
        "lines_per_frame": lines,
        "lines_per_field": Fraction(lines, 2 if interlaced else 1),
        "interlaced": interlaced,
        "standard": source.standard,
        "sync": options.sync,
        "roles": roles,
        "polarity": {role: value for role, value in polarities.items() if role in present},
        "launch_edge": options.launch_edge,
        "bus_delay_s": Fraction(options.bus_delay_ps, 10**12),
        "bits": options.bits,
        "colour_bits": COLOUR_BITS.get(options.bits, "code"),
        "blanking_code": facts["blanking_code"],
        "active": {
            "x": facts["active_x"],
            "y": (Fraction(facts["active_y"]), facts["active_y"] + offset),
            "first_frame_row": (0, 1) if offset >= 0 else (1, 0),
            "width": facts["active_width"],
            "height": facts["active_height"],
        },
    }
