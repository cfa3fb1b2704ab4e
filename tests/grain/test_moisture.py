"""Properties of moisture and shrink: dry matter is kept, inverses are inverses, odd shapes and values pass."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryrecords.grain import moisture

masses = st.floats(1.0, 1e7)
moistures = st.floats(0.0, 60.0)
handlings = st.floats(0.0, 2.0)


@given(masses, moistures, moistures)
def test_drying_keeps_the_dry_matter(mass, m_in, m_out):
    dried = moisture.dried_mass_kg(mass, m_in, m_out, 0.0)
    assert moisture.dry_matter_kg(dried, m_out) == pytest.approx(moisture.dry_matter_kg(mass, m_in), rel=1e-12)


@given(masses, moistures, moistures, handlings)
def test_what_is_lost_is_water_and_handling(mass, m_in, m_out, handling):
    lost = mass * (moisture.water_shrink_pct(m_in, m_out) + handling) / 100.0
    assert moisture.dried_mass_kg(mass, m_in, m_out, handling) == pytest.approx(mass - lost, rel=1e-9)


@given(masses, moistures, moistures, handlings)
def test_wet_mass_comes_back_from_the_dry(mass, m_in, m_out, handling):
    dried = moisture.dried_mass_kg(mass, m_in, m_out, handling)
    assert moisture.undried_mass_kg(dried, m_in, m_out, handling) == pytest.approx(mass, rel=1e-12)


@given(moistures)
def test_bases_are_inverse(m):
    assert moisture.wet_basis_pct(moisture.dry_basis_pct(m)) == pytest.approx(m, abs=1e-12)


@given(st.lists(st.tuples(masses, moistures), min_size=1, max_size=8))
def test_blend_holds_the_water_and_dry_matter_of_its_parts(parts):
    mass, m = np.array(parts).T
    blend = moisture.blend_moisture_pct(mass, m)
    whole = moisture.dry_matter_kg(mass.sum(), blend)
    assert whole == pytest.approx(moisture.dry_matter_kg(mass, m).sum(), rel=1e-12)
    assert m.min() - 1e-9 <= blend <= m.max() + 1e-9


def test_blend_of_two_loads():
    # 600 lb at 18 % and 400 lb at 14 %: 16.4 %, mass-weighted mean; common practice, no source
    blend = moisture.blend_moisture_pct(np.array([[600.0, 400.0, np.nan]]), np.array([[18.0, 14.0, 20.0]]))
    assert blend == pytest.approx([16.4])
    assert np.isnan(moisture.blend_moisture_pct(np.array([np.nan]), np.array([15.0])))


def test_same_mass_at_the_base_as_by_drying_to_it():
    dry_matter = moisture.dry_matter_kg(1000.0, 22.0)
    assert moisture.mass_at_moisture_kg(dry_matter, 15.0) == pytest.approx(
        moisture.dried_mass_kg(1000.0, 22.0, 15.0, 0.0)
    )


@pytest.mark.parametrize("shape", [(), (0,), (3,), (2, 3)])
def test_shapes_come_back(shape):
    m = np.full(shape, 20.0)
    for result in (
        moisture.dry_matter_kg(m, m),
        moisture.water_shrink_factor_pct(m),
        moisture.water_shrink_pct(m, 15.0),
        moisture.dried_mass_kg(m, m, 15.0, 0.5),
        moisture.undried_mass_kg(1.0, m, 15.0, 0.5),
        moisture.dry_basis_pct(m),
        moisture.wet_basis_pct(m),
    ):
        assert result.shape == shape


@pytest.mark.filterwarnings("error")
def test_impossible_moisture_is_nan_without_a_warning():
    odd = np.array([100.0, np.nan, np.inf])
    assert np.isnan(moisture.water_shrink_pct(20.0, odd)).all()
    assert np.isnan(moisture.dry_basis_pct(odd[:2])).all()
    assert np.isnan(moisture.kept_fraction(99.0, 15.0, 5.0))
    assert np.isnan(moisture.mass_at_moisture_kg(1.0, 100.0))
