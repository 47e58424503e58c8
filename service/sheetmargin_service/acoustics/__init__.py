"""Sound in air, through sheets and in beams. Pure functions, SI units, time factor e^(+i w t)."""
