"""The bed's balance for one batch of corn in plain loops, step by step and layer by layer: a peer of the wavefront.

Only arithmetic and `math`, so that numba can compile it as it stands.
"""

import math


def log_saturation(temp_c):
    k = temp_c + 273.15
    cubic = 1.3914993 - 4.8640239e-2 * k + 4.1764768e-5 * k**2 - 1.4452093e-8 * k**3
    return -5.8002206e3 / k + cubic + 6.5459673 * math.log(k)


def bound_heat(moisture, b0, b1, b2):
    return math.exp(b0 + b1 * moisture + b2 * moisture**2)


def thin_layer(moisture, reference, temp_c, rh, step_h, a, b, c):
    """Thompson, Peart & Foster 1968 by equivalent time, to the modified Henderson equilibrium."""
    rest = 0.01 * (math.log(1.0 - min(rh, 0.95)) / (-a * (temp_c + c))) ** (1.0 / b)
    if moisture <= rest:
        return moisture
    temp_f = 1.8 * temp_c + 32.0
    x, y = -1.86178 + 0.0048843 * temp_f, 427.3640 * math.exp(-0.03301 * temp_f)
    wettest = max(moisture, reference)
    ratio = math.log((moisture - rest) / (wettest - rest))
    hours = x * ratio + y * ratio**2 + step_h
    return rest + (wettest - rest) * math.exp((-x - math.sqrt(x**2 + 4.0 * y * hours)) / (2.0 * y))


def layer(air_c, humidity, moisture, temp_c, reference, dry, step_h, pressure, a, b, c, c0, c1, b0, b1, b2):
    """One layer, one step; moisture and temperature of the grain, humidity of the air that leaves."""
    air_heat = 1006.0 + 1860.0 * humidity
    heat = air_heat + dry * (c0 + c1 * moisture)
    sensible = air_heat * air_c + dry * (c0 + c1 * moisture) * temp_c
    mixed = sensible / heat
    rh = pressure * humidity / (0.621945 + humidity) / math.exp(log_saturation(mixed))
    evaporated = dry * (moisture - thin_layer(moisture, reference, mixed, rh, step_h, a, b, c))
    bound = bound_heat(moisture, b0, b1, b2)
    free = 2_501_000.0 - bound * (b1 + 2.0 * b2 * moisture)
    shift = 1860.0 - c1
    warm = (sensible - evaporated * free) / (heat + shift * evaporated)
    passed = humidity + evaporated
    if pressure * passed / (0.621945 + passed) > math.exp(log_saturation(warm)):
        for _ in range(2):
            saturation = math.exp(log_saturation(warm))
            saturated = 0.621945 * saturation / (pressure - saturation)
            slope = saturated * pressure / (pressure - saturation) * 4283.6 / (warm + 243.04) ** 2
            taken = saturated - humidity
            rise = (sensible - warm * (heat + shift * taken) - taken * free) / (
                heat + shift * taken + slope * (shift * warm + free)
            )
            warm += rise
        evaporated = taken + slope * rise
    after = moisture - evaporated / dry
    spent = 2_501_000.0 * evaporated + dry * (bound_heat(after, b0, b1, b2) - bound)
    return after, (sensible - spent) / (heat + shift * evaporated), humidity + evaporated


def dry_bed(moistures, temps, air_c, humidity, dry, step_h, pressure, target, a, b, c, c0, c1, b0, b1, b2):
    """Dry layers, changed in place, until their mean moisture [fraction, dry basis] is down to the target.

    Returns the number of steps with its fraction.
    """
    reference = moistures[0]
    count = len(moistures)
    mean, steps = reference, 0
    while True:
        before, mean = mean, 0.0
        warm, wet = air_c, humidity
        for i in range(count):
            moistures[i], warm, wet = layer(
                warm, wet, moistures[i], temps[i], reference, dry, step_h, pressure, a, b, c, c0, c1, b0, b1, b2
            )
            temps[i] = warm
            mean += moistures[i] / count
        steps += 1
        if mean <= target:
            return steps - 1 + (before - target) / (before - mean)
