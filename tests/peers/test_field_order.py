"""Interlaced frames are woven in the right order: a picture of frame lines, each unlike the others, shows it.

The HDL benches (VHDL for 625 lines, Verilog for 525) say which field came first and what each line showed;
which field's lines lie on top follows from the time since O_V (BT.470 Fig. 2-1 and 2-2, references 1.3).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.analyse import analyse_path

from .rebuilt import in_true_order, without_scope

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from .simulate import Simulated


def true_frame(source: Simulated) -> NDArray[np.uint32]:
    """Put the benches' fields together: the field whose first line comes sooner after O_V lies on top."""
    y = source.truth["active"]["y"]
    top = min((0, 1), key=lambda parity: y[parity])
    fields = {parity: next(f.codes for f in source.fields if f.parity == parity) for parity in (0, 1)}
    height, width = fields[top].shape
    frame = np.empty((2 * height, width), np.uint32)
    frame[0::2], frame[1::2] = fields[top], fields[1 - top]
    return frame


@pytest.mark.parametrize("name", ["sd625-interlaced", "sd525-interlaced"])
def test_woven_frames_have_every_line_in_its_place(name: str, simulated: Callable[..., Simulated]) -> None:
    source = simulated(name)
    analysis = analyse_path(str(source.vcd))
    frames = analysis.evidence.frames
    assert frames is not None
    wanted = without_scope(source.truth["roles"])
    truth = true_frame(source)
    woven = [f for f in frames.frames if f.field == "woven"]
    assert woven
    for frame in woven:
        area = frames.active_of(frame)
        assert area is not None
        shown = area.crop(in_true_order(analysis, frame, wanted))
        assert shown.shape == truth.shape
        assert np.array_equal(shown, truth)


@pytest.mark.parametrize("name", ["sd625-interlaced", "sd525-interlaced"])
def test_the_proof_would_see_fields_in_the_wrong_order(
    name: str, simulated: Callable[..., Simulated]
) -> None:
    truth = true_frame(simulated(name))
    swapped = truth.reshape(-1, 2, truth.shape[1])[:, ::-1].reshape(truth.shape)
    # Each frame line is unlike its neighbours, so that an exchange of fields shows in nearly every line.
    assert (swapped != truth).any(axis=1).mean() > 0.9


@pytest.mark.parametrize(("name", "top"), [("sd625-interlaced", 0), ("sd525-interlaced", 1)])
def test_the_upper_field_is_the_one_the_figures_say(
    name: str, top: int, simulated: Callable[..., Simulated]
) -> None:
    # BT.470 Fig. 2-1, 2-2 (references 1.3): after O_V, line 23 of 625 comes sooner than line 336 (22 and
    # 22.5 H); line 285 of 525 sooner than line 22 (17.5 and 18 H). Parity 0: O_V meets a line sync.
    y = simulated(name).truth["active"]["y"]
    assert min((0, 1), key=lambda parity: y[parity]) == top
