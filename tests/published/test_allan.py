"""Allan deviation and the least-squares formula against published figures.

NBS 10-point and 1000-point sets: NIST SP 1065 Tables 30, 31 and pp 107-108, as cited in the project's
references 8.3 (recomputed there with a second implementation).
"""

from __future__ import annotations

import numpy as np
import pytest

from rastertap.streams.clock_tie import allan_deviation, least_squares_line

NBS_10 = np.array([892, 809, 823, 798, 671, 644, 883, 903, 677], np.float64)
"""Nine frequency values, so ten phases."""


def phases(frequency: np.ndarray) -> np.ndarray:
    return np.concatenate(([0.0], np.cumsum(frequency)))


def nbs_1000() -> np.ndarray:
    values = [1_234_567_890]
    for _ in range(999):
        values.append(16_807 * values[-1] % 2_147_483_647)
    assert values[1:4] == [395_529_916, 1_209_410_747, 633_705_974]
    return np.array(values, np.float64) / 2_147_483_647


@pytest.mark.parametrize(("every", "published"), [(1, 91.22945), (2, 85.95287)])
def test_the_overlapping_deviation_of_the_10_point_set_is_as_published(every: int, published: float) -> None:
    assert allan_deviation(phases(NBS_10), 1.0, every) == pytest.approx(published, rel=1e-6)


def test_the_plain_deviation_of_the_10_point_set_is_as_published() -> None:
    assert allan_deviation(phases(NBS_10)[::2], 2.0, 1) == pytest.approx(115.8082, rel=1e-6)


@pytest.mark.parametrize(("every", "published"), [(1, 2.922319e-1), (10, 9.159953e-2), (100, 3.241343e-2)])
def test_the_overlapping_deviation_of_1000_points_is_as_published(every: int, published: float) -> None:
    assert allan_deviation(phases(nbs_1000()), 1.0, every) == pytest.approx(published, rel=1e-6)


@pytest.mark.parametrize(("every", "published"), [(10, 9.965736e-2), (100, 3.897804e-2)])
def test_the_plain_deviation_of_the_1000_points_is_as_published(every: int, published: float) -> None:
    assert allan_deviation(phases(nbs_1000())[::every], float(every), 1) == pytest.approx(published, rel=1e-6)


@pytest.mark.parametrize(("number", "published"), [(10, 0.11010), (100, 3.464e-3), (1000, 1.0954e-4)])
def test_a_period_by_least_squares_scatters_as_12_over_n_cubed(number: int, published: float) -> None:
    """Var = 12 sigma**2 / (N (N**2 - 1)) where errors are independent: references 8.2, sigma 1."""
    assert np.sqrt(12 / (number * (number**2 - 1))) == pytest.approx(published, rel=1e-3)
    rng = np.random.default_rng(number)
    index = np.arange(number, dtype=np.float64)
    slopes = [least_squares_line(index, 5 * index + rng.standard_normal(number))[1] for _ in range(4000)]
    assert np.std(slopes) == pytest.approx(published, rel=0.05)
