"""What every part may use and no part owns: errors, clock, ids, quantities, decimals, task names. No tables."""
