# Makes the devices that board.json names. A device's module is loaded only if it is on the board: memory is
# short.

from binascii import unhexlify


def i2c_devices(parts, tape, clock):
    """The devices on the I2C bus, as (role, address, device).

    parts: of board.json: "chips" is role -> [chip, address], "barometer_words" the barometer's calibration.
    """
    for role in parts["chips"]:
        chip, address = parts["chips"][role]
        stream = tape.streams[role]
        if chip == "ms5611":
            from onboard.simulator.board.barometer import BarometerDevice

            yield role, address, BarometerDevice(clock, stream, parts["barometer_words"])
        elif chip == "bmp280":
            from onboard.simulator.board.bmp280 import Bmp280Device

            yield role, address, Bmp280Device(clock, stream, parts["barometer_words"])
        elif chip == "sht3x":
            from onboard.simulator.board.humidity import HumidityDevice

            yield role, address, HumidityDevice(clock, stream)
        elif chip == "mpu6050":
            from onboard.simulator.board.motion import MotionDevice

            yield role, address, MotionDevice(clock, stream)
        elif chip == "tmp117":
            from onboard.simulator.board.tmp117 import Tmp117Device

            yield role, address, Tmp117Device(clock, stream)
        else:
            raise ValueError("no virtual device for " + chip)


def onewire_devices(parts, tape, clock):
    """The devices on the 1-Wire bus, as (role, device).

    parts: of board.json: "roms" is a list of [role, ROM code], in the order of the columns of the stream
    "onewire".
    """
    column = 0
    for role, rom in parts["roms"]:
        from onboard.simulator.board.ds18b20 import Ds18b20Device

        yield role, Ds18b20Device(clock, tape.streams["onewire"], column, unhexlify(rom))
        column += 1
