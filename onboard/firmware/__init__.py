# The logger that runs on the board. Pure MicroPython; imports only protocol/.

FIRMWARE_VERSION = "0.1.0"
