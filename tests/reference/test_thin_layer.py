"""Thin-layer laws against hand calculation, and against each other where two describe one crop.

No raw drying curve could be read in any source: these checks are of model against model, not against data.
"""

import numpy as np
import pytest

from dryrecords.grain import thin_layer as drying

HOUR_S = 3600.0

# temperature [F]; hours to a moisture ratio of 0.75, 0.5, 0.25 by Thompson, Peart & Foster 1968, worked by hand
THOMPSON = [
    (100.0, (1.698, 8.518, 32.166)),
    (140.0, (0.687, 2.837, 9.714)),
    (160.0, (0.491, 1.793, 5.673)),
    (200.0, (0.303, 0.892, 2.342)),
    (240.0, (0.211, 0.552, 1.254)),
]


@pytest.mark.parametrize(("temp_f", "hours"), THOMPSON)
def test_corn_by_hand(temp_f, hours):
    air = drying.LayerAir(temp_c=(temp_f - 32.0) / 1.8)
    ours = drying.equivalent_time_s(np.array([0.75, 0.5, 0.25]), drying.THOMPSON_CORN, air) / HOUR_S
    assert ours == pytest.approx(np.array(hours), abs=6e-4)
    back = drying.moisture_ratio(np.array(hours) * HOUR_S, drying.THOMPSON_CORN, air)
    assert back == pytest.approx(np.array([0.75, 0.5, 0.25]), abs=1e-3)


# temperature [deg C]; hours to a ratio of 0.5 by Misra & Brooker 1980 at 25 %, 10 % humidity, 0.5 m/s, by hand;
# and how far the two laws lie apart
@pytest.mark.parametrize(
    ("temp_c", "hours", "apart"),
    [(27.0, 12.4, 0.21), (49.0, 3.94, 0.18), (71.0, 1.74, 0.04), (93.0, 0.93, 0.04), (116.0, 0.54, 0.04)],
)
def test_two_laws_of_corn_agree(temp_c, hours, apart):
    air = drying.LayerAir(temp_c=temp_c, rh_pct=10.0, velocity_m_s=0.5, moisture_in_pct=25.0)
    misra = drying.equivalent_time_s(0.5, drying.MISRA_BROOKER_CORN, air) / HOUR_S
    thompson = drying.equivalent_time_s(0.5, drying.THOMPSON_CORN, air) / HOUR_S
    assert misra == pytest.approx(hours, rel=0.01)
    assert misra == pytest.approx(thompson, rel=apart)


def test_small_grain_by_hand():
    # Newton's constants [1/h] at 40 and 60 deg C: O'Callaghan, Menzies & Bailey 1971 wheat, Boyce 1965 barley
    air = drying.LayerAir(temp_c=np.array([40.0, 60.0]))
    for law, rates in [(drying.OCALLAGHAN_WHEAT, (0.620, 1.647)), (drying.BOYCE_BARLEY, (0.365, 0.852))]:
        assert -np.log(drying.moisture_ratio(HOUR_S, law, air)) == pytest.approx(np.array(rates), abs=6e-4)


def test_two_laws_of_rice_agree():
    # one hour at 40 deg C, 20 %: Agrawal & Singh 1977 and Wang & Singh 1978, by hand
    air = drying.LayerAir(temp_c=40.0, rh_pct=20.0)
    short = drying.moisture_ratio(HOUR_S, drying.AGRAWAL_SINGH_RICE, air)
    medium = drying.moisture_ratio(HOUR_S, drying.WANG_SINGH_RICE, air)
    assert short == pytest.approx(0.653, abs=6e-4)
    assert medium == pytest.approx(0.630, abs=6e-4)
    assert short == pytest.approx(medium, rel=0.04)


def test_corn_in_a_small_dryer():
    # 17.5 to 11.5 % in 3 h at 50 deg C air: Owusu-Sekyere and others 2021, a whole small dryer, humidity not stated.
    # A layer alone has to be at least as fast, with its equilibrium anywhere between 4 and 8 %.
    def dry(moisture_pct):
        return moisture_pct / (100.0 - moisture_pct)

    ratio = (dry(11.5) - dry(np.array([4.0, 8.0]))) / (dry(17.5) - dry(np.array([4.0, 8.0])))
    hours = drying.equivalent_time_s(ratio, drying.THOMPSON_CORN, drying.LayerAir(temp_c=50.0)) / HOUR_S
    assert (hours > 1.5).all() and (hours < 12.0).all()
