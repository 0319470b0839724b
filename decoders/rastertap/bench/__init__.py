"""A simulated video source, its wiring, and the analyser that records it: for the demo and for tests.

It makes the truth that the rest is tested against, so it uses nothing of the rest but errors and roles::

    machine = MACHINES["marlow85-50"]
    analyser = Analyser(machine.wires, timebase_ppm=8.0, fields=2.1)
    made = make_capture(machine.source, analyser, [parse_fault("swap:D1,D3")], seed=1)
    made.write(Path("swapped.vcd.gz"))  # and swapped.truth.json, swapped.pictures.npy

`clock` says when the chip is clocked, `raster` and `chip` what its pins then show, `faults` what goes
wrong on the way, `analyser` what is seen of it; `vcd` writes that down, and `truth` what is really so.
"""
