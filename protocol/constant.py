# The compiler of MicroPython puts NAME = const(...) in place wherever a name with an underscore is used and
# keeps no variable for it; on the desktop const changes nothing.

try:
    from micropython import const
except ImportError:

    def const(value):
        """The value itself."""
        return value
