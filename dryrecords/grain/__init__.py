"""Numeric core: moisture, shrink, energy, uncertainty of many batches at once. NumPy only, SI units."""
