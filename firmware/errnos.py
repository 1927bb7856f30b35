"""Error numbers that MicroPython's errno leaves out on most ports (values of POSIX on Linux, which its drivers use)."""

from shared_math.compat import const

EIO = const(5)
EACCES = const(13)
EEXIST = const(17)
ENODEV = const(19)
ENOSPC = const(28)
EROFS = const(30)
ENOENT = const(2)
ETIMEDOUT = const(110)
EMEDIUMTYPE = const(124)  # a card that answers, without a volume that can be used
