"""Moisture, dry matter and shrink: what drying takes from a mass of grain. Moisture is percent wet basis."""

import numpy as np

from dryrecords.grain.arrays import Array, Values, ratio, where_positive


def dry_matter_kg(mass_kg: Values, moisture_pct: Values) -> Array:
    """Dry matter in a mass of grain.

    Parameters
    ----------
    mass_kg : array, any shape. [kg]
    moisture_pct : array that broadcasts with it. [% wet basis], 0 to 100

    Returns
    -------
    array of the broadcast shape. [kg]

    Checked by  tests/reference/test_bushels_and_volume.py (dry matter of a market bushel)
    """
    return np.asarray(mass_kg * (100.0 - moisture_pct) / 100.0)


def mass_at_moisture_kg(dry_matter_kg: Values, moisture_pct: Values) -> Array:
    """Mass that an amount of dry matter has at a moisture, as at the market base.

    Parameters
    ----------
    dry_matter_kg : array, any shape. [kg]
    moisture_pct : array that broadcasts with it. [% wet basis], 0 up to 100; NaN is returned at 100

    Returns
    -------
    array of the broadcast shape. [kg]

    Checked by  tests/reference/test_over_drying.py
    """
    return ratio(100.0 * dry_matter_kg, 100.0 - moisture_pct)


def water_shrink_factor_pct(moisture_out_pct: Values) -> Array:
    """Water shrink for each point removed, 100 / (100 - M_out); it does not depend on the moisture in.

    Parameters
    ----------
    moisture_out_pct : array, any shape. [% wet basis], 0 up to 100

    Returns
    -------
    array of the same shape. [% of the wet mass for each point]

    Source      South Dakota State University (Dillivan 2014)
    Checked by  tests/reference/test_shrink.py
    """
    return ratio(100.0, 100.0 - moisture_out_pct)


def water_shrink_pct(moisture_in_pct: Values, moisture_out_pct: Values) -> Array:
    """Water removed by drying, in percent of the wet mass; negative when the grain took up water.

    Parameters
    ----------
    moisture_in_pct, moisture_out_pct : arrays that broadcast. [% wet basis], 0 up to 100

    Returns
    -------
    array of the broadcast shape. [% of the wet mass]

    Equation    100 (M_in - M_out) / (100 - M_out)
    Source      North Dakota State University 2009; in law: Canada SOR/2018-176
    Checked by  tests/reference/test_shrink.py
    """
    return ratio(100.0 * (moisture_in_pct - moisture_out_pct), 100.0 - moisture_out_pct)


def kept_fraction(moisture_in_pct: Values, moisture_out_pct: Values, handling_pct: Values) -> Array:
    """Dried mass as a fraction of the wet mass, handling loss included (additive convention).

    Parameters
    ----------
    moisture_in_pct, moisture_out_pct : arrays that broadcast. [% wet basis], 0 up to 100
    handling_pct : array that broadcasts with them; loss of dry matter. [% of the wet mass]

    Returns
    -------
    array of the broadcast shape. [-]; NaN where the losses leave nothing

    Equation    (100 - M_in) / (100 - M_out) - handling / 100
    Source      drying tables of grain buyers; Hicks & Cloud, National Corn Handbook NCH-61, from memory
    Checked by  tests/reference/test_shrink.py
    """
    kept = ratio(100.0 - moisture_in_pct, 100.0 - moisture_out_pct) - handling_pct / 100.0
    return where_positive(kept, kept)


def dried_mass_kg(
    wet_mass_kg: Values, moisture_in_pct: Values, moisture_out_pct: Values, handling_pct: Values
) -> Array:
    """Mass that is left of wet grain after drying; arguments as in kept_fraction. [kg]"""
    return np.asarray(wet_mass_kg * kept_fraction(moisture_in_pct, moisture_out_pct, handling_pct))


def undried_mass_kg(
    dry_mass_kg: Values, moisture_in_pct: Values, moisture_out_pct: Values, handling_pct: Values
) -> Array:
    """Wet mass that a weighed dry mass came from, inverse of dried_mass_kg; arguments as there. [kg]"""
    return ratio(dry_mass_kg, kept_fraction(moisture_in_pct, moisture_out_pct, handling_pct))


def blend_moisture_pct(mass_kg: Array, moisture_pct: Array) -> Array:
    """Moisture of a blend: the mean weighted by mass, over the last axis. NaN parts are left out.

    Parameters
    ----------
    mass_kg, moisture_pct : arrays of shape (..., k). [kg], [% wet basis]

    Returns
    -------
    array of shape (...). [% wet basis]; NaN where no part is known

    Checked by  tests/grain/test_moisture.py
    """
    known = ~np.isnan(mass_kg * moisture_pct)
    water = np.where(known, mass_kg * moisture_pct, 0.0).sum(axis=-1)
    return ratio(water, np.where(known, mass_kg, 0.0).sum(axis=-1))


def dry_basis_pct(moisture_pct: Values) -> Array:
    """Moisture as water over dry matter. [% wet basis], any shape, to [% dry basis]; NaN at 100."""
    return ratio(100.0 * moisture_pct, 100.0 - moisture_pct)


def wet_basis_pct(moisture_dry_basis_pct: Values) -> Array:
    """Moisture as water over the whole mass. [% dry basis], any shape, to [% wet basis]."""
    return ratio(100.0 * moisture_dry_basis_pct, 100.0 + moisture_dry_basis_pct)
