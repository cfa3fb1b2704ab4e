"""What happened: lots, batches, readings, samples, fuel, power, and the prices and settings in force."""
