"""A started card's FAT volume under its folder."""

import vfs

import errnos


def mount(card, folder):
    """Make it available. OSError EMEDIUMTYPE where the card holds no such volume: exFAT, as large cards are sold with,
    another file system, sectors of another size, or nothing."""
    try:
        vfs.mount(vfs.VfsFat(card), folder)  # pyright: ignore[reportArgumentType]
    except OSError as error:
        if error.errno != errnos.ENODEV:
            raise
        raise OSError(errnos.EMEDIUMTYPE)
