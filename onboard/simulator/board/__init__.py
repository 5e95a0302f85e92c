# The virtual board: simulated devices that answer at register level to the firmware's own drivers.
# Pure MicroPython, because it runs beside the firmware on every interpreter. What the devices read at
# which time stands in a tape, made beforehand from the simulated world.
