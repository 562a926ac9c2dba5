"""What must hold for any heated film."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airsense.errors import InputError
from airsense.physics.hot_film import KingsLaw, fit_kings_law

laws = st.builds(KingsLaw, st.floats(0.3, 3.0), st.floats(2.0, 60.0), st.floats(0.35, 0.65))


@given(laws, st.floats(1e-3, 1.0))
def test_voltage_and_flow_are_inverse(law, flow):
    assert float(law.flow(law.voltage_v(flow))) == pytest.approx(flow, rel=1e-6)


@given(laws)
def test_a_response_made_by_the_law_is_recovered(law):
    flow = np.linspace(0.005, 0.5, 30)
    fitted = fit_kings_law(law.voltage_v(flow), flow)
    assert fitted.n == pytest.approx(law.n, abs=2e-4)
    np.testing.assert_allclose(fitted.voltage_v(flow), law.voltage_v(flow), rtol=1e-5)


def test_below_the_voltage_of_still_air_there_is_no_flow():
    assert np.isnan(KingsLaw(1.0, 10.0, 0.5).flow(0.9))


@pytest.mark.parametrize("flow", [[0.1, 0.2, 0.3], [-0.1, 0.1, 0.2, 0.3]])
def test_too_few_or_reversed_flows_are_refused(flow):
    with pytest.raises(InputError) as caught:
        fit_kings_law(np.linspace(1.0, 2.0, len(flow)), flow)
    assert "reverse" in caught.value.fix
