"""The one place where the two runtimes differ: `const` exists on MicroPython only."""

try:
    from micropython import const
except ImportError:

    def const(value):
        """MicroPython's compiler folds const(); elsewhere it is the value itself."""
        return value
