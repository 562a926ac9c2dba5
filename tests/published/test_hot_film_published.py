"""Heat transfer of heated wires and King's law against published values."""

import numpy as np
import pytest

from airsense.physics.hot_film import KingsLaw, fit_kings_law
from tests.published.published import Published


def test_kings_law_recovers_the_exponent_that_a_collis_williams_wire_has():
    # below Re 44 the wire is King's law with n = 0.45 and A/B = 0.24/0.56
    re = np.geomspace(0.1, 43.0, 30)
    law = fit_kings_law(np.sqrt(0.24 + 0.56 * re**0.45), re)
    Published("Collis & Williams 1959 (from memory)", printed="0.45").check(law.n)
    assert law.a == pytest.approx(0.24, rel=1e-3)
    assert law.b == pytest.approx(0.56, rel=1e-3)


def test_kings_law_of_1914_has_the_square_root():
    flow = np.linspace(0.005, 0.3, 40)
    made = KingsLaw(1.2, 18.0, 0.5)
    law = fit_kings_law(made.voltage_v(flow), flow)
    Published("King, Phil. Trans. A 214 (1914) 373: n = 1/2", printed="0.50").check(law.n)
    np.testing.assert_allclose(law.flow(made.voltage_v(flow)), flow, atol=2e-7)
