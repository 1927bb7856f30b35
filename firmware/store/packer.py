"""The fastest packer that this port can run."""

from shared_math import packing


def make(bits, max_rows):
    """A packing.Packer, with compiled kernels where the port has the native emitter."""
    try:
        from store.viper_packing import ViperPacker
    except (ImportError, SyntaxError, ValueError):
        return packing.Packer(bits, max_rows)
    return ViperPacker(bits, max_rows)
