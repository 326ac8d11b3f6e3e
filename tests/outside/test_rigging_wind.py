"""Wind: dynamic pressure of ISO 2533 and EN 1991-1-4 air, the Beaufort scale of WMO No. 8, and a worked case.

The case: 1.65 m², drag coefficient 1.3, 1.225 kg/m³, 270 kg. calc: force triangle and chains that lean with the swing.
"""

import numpy as np
import pytest

from rigging.wind import beaufort, picks_in_wind, stack_stability, wind_force, wind_speed, wind_swing

W = 270.0 * 9.80665


def test_dynamic_pressure():
    """Published: 0.613 v² at 1.225 kg/m³, rounded to 5e-4; EN 1991-1-4 takes 1.25 kg/m³, 250 N/m² at 20 m/s exact."""
    np.testing.assert_allclose(wind_force(1.0, 1.0, 1.0), 0.613, rtol=0, atol=5.1e-4)
    np.testing.assert_allclose(wind_force(20.0, 1.0, 1.0, 1.25), 250.0, rtol=1e-12, atol=0)


# m/s, N and degrees, rounded to 0.01.
CASE = [(10.0, 131.38, 2.84), (15.0, 295.61, 6.37), (20.0, 525.53, 11.23)]


@pytest.mark.parametrize(("speed", "newton", "degrees"), CASE)
def test_force_and_swing(speed, newton, degrees):
    force = wind_force(speed, 1.65, 1.3)
    np.testing.assert_allclose(force, newton, rtol=0, atol=0.0051)
    np.testing.assert_allclose(np.degrees(wind_swing(force, W)), degrees, rtol=0, atol=0.0051)
    np.testing.assert_allclose(wind_speed(newton, 1.65, 1.3), speed, rtol=5e-5, atol=0)


# Six boxes of the worked column at −3°: N on front and rear pick at rest, and at 20 m/s from either side with the
# drag at the centre of mass (−0.25673, −0.63586) m; picks (0.10, 0.10) and (−0.70, 0.10) m. Rounded to 1 N.
@pytest.mark.parametrize(("toward", "front_n", "rear_n"), [(1.0, None, 1833.0), (-1.0, 1855.0, None)])
def test_load_shift_between_two_picks(toward, front_n, rear_n):
    c, s = np.cos(np.radians(-3.0)), np.sin(np.radians(-3.0))
    turn = np.array([[c, -s], [s, c]])
    centre, front, rear = (turn @ place for place in ((-0.25673, -0.63586), (0.1, 0.1), (-0.7, 0.1)))
    force = toward * float(wind_force(20.0, 1.65, 1.3))
    loads = picks_in_wind(W, force, centre, centre, [front, rear])
    for load, expected in zip(loads, (front_n, rear_n), strict=True):
        if expected is not None:
            np.testing.assert_allclose(load, expected, rtol=0, atol=1.0)


# Published: m/s of 10-minute means, to 0.1 m/s.
@pytest.mark.parametrize(("number", "low", "high"), [(6, 10.8, 13.8), (7, 13.9, 17.1), (8, 17.2, 20.7)])
def test_beaufort(number, low, high):
    assert beaufort(low) == beaufort(high) == number
    assert beaufort(low - 0.1) == number - 1
    assert beaufort(high + 0.1) == number + 1


def test_ground_stack():
    """200 kg, 0.25 m to the edge, 1.8 m² at 0.75 m, 15 m/s, drag coefficient 1.2. calc: 298 N, 2.20, friction 0.152."""
    force = float(wind_force(15.0, 1.8, 1.2))
    np.testing.assert_allclose(force, 298.0, rtol=0, atol=0.51)
    stability, friction = stack_stability(200.0 * 9.80665, 0.25, force, 0.75)
    np.testing.assert_allclose(stability, 2.20, rtol=0, atol=0.0051)
    np.testing.assert_allclose(friction, 0.152, rtol=0, atol=5.1e-4)
    assert stack_stability(1.0, 1.0, 0.0, 1.0) == (float("inf"), 0.0)
