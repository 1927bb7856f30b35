"""What only some systems have of the standard library, and where a source uses it without asking first.

The names are those that Python's library reference gives with "Availability: Unix" or "Windows".
"""

from __future__ import annotations

import ast
from collections.abc import Iterator

MODULES = {
    *("fcntl", "resource", "termios", "tty", "pty", "pwd", "grp", "posix", "curses", "readline", "syslog"),
    *("msvcrt", "winreg", "winsound", "nt", "_winapi"),
}
MEMBERS = {
    "os": {
        *("fork", "forkpty", "posix_spawn", "posix_spawnp", "register_at_fork", "wait", "wait3", "wait4", "waitid"),
        *("WNOHANG", "WIFEXITED", "WEXITSTATUS", "WIFSIGNALED", "WTERMSIG", "nice", "getpriority", "setpriority"),
        *("getuid", "geteuid", "getgid", "getegid", "getgroups", "getresuid", "setuid", "seteuid", "setgid", "setegid"),
        *("getpgid", "getpgrp", "setpgid", "setpgrp", "getsid", "setsid", "killpg", "ctermid", "openpty", "ttyname"),
        *("tcgetpgrp", "tcsetpgrp", "mkfifo", "mknod", "chown", "fchown", "lchown", "chroot", "fchmod", "fchdir"),
        *("pread", "pwrite", "preadv", "pwritev", "readv", "writev", "sendfile", "splice", "copy_file_range"),
        *("lockf", "sync", "fdatasync", "posix_fadvise", "posix_fallocate", "statvfs", "fstatvfs", "pathconf"),
        *("uname", "sysconf", "confstr", "getloadavg", "sched_getaffinity", "sched_setaffinity", "sched_yield"),
        *("getxattr", "setxattr", "listxattr", "removexattr", "memfd_create", "eventfd", "pidfd_open", "pipe2"),
        *("O_NOFOLLOW", "O_DIRECTORY", "O_CLOEXEC", "O_NONBLOCK", "O_SYNC", "O_DSYNC", "O_DIRECT", "O_NOCTTY"),
        *("startfile", "O_BINARY", "O_SEQUENTIAL", "O_TEMPORARY", "P_DETACH", "add_dll_directory"),
    },
    "select": {"poll", "epoll", "kqueue", "devpoll"},
    "socket": {"AF_UNIX", "SO_REUSEPORT", "sethostname", "fromshare"},
    "time": {"tzset", "clock_gettime", "clock_settime", "pthread_getcpuclockid"},
    "signal": {
        *("alarm", "pause", "setitimer", "getitimer", "siginterrupt", "pthread_kill", "pthread_sigmask", "sigpending"),
        *("sigwait", "sigwaitinfo", "sigtimedwait", "ITIMER_REAL", "ITIMER_VIRTUAL", "ITIMER_PROF"),
        *("CTRL_C_EVENT", "CTRL_BREAK_EVENT"),
    },
}
SIGNALS_ANYWHERE = {"SIGABRT", "SIGFPE", "SIGILL", "SIGINT", "SIGSEGV", "SIGTERM", "SIG_DFL", "SIG_IGN"}


def is_of_one_system(module: str, name: str) -> bool:
    """Whether `module.name` is missing somewhere; name: empty for the module itself."""
    if not name:
        return module.split(".")[0] in MODULES
    signal = module == "signal" and name.startswith("SIG") and name not in SIGNALS_ANYWHERE
    return signal or name in MEMBERS.get(module, ())


def used(node: ast.AST) -> Iterator[tuple[str, str]]:
    """(module, name) of what this one node imports or takes from a module."""
    if isinstance(node, ast.Import):
        yield from ((alias.name, "") for alias in node.names)
    elif isinstance(node, ast.ImportFrom) and node.module:
        yield node.module, ""
        yield from ((node.module, alias.name) for alias in node.names)
    elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
        yield node.value.id, node.attr


def asks(test: ast.AST, module: str) -> bool:
    """Whether a condition asks for the system, or whether the module or something of it is there."""
    for node in ast.walk(test):
        if isinstance(node, ast.Attribute) and ast.unparse(node) in ("sys.platform", "os.name"):
            return True
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "hasattr" and ast.unparse(node.args[0]) == module:
            return True
    return isinstance(test, ast.Name) and test.id == module


def catches_absence(node: ast.Try) -> bool:
    caught = [name for handler in node.handlers if handler.type for name in ast.walk(handler.type)]
    absent = ("ImportError", "ModuleNotFoundError", "AttributeError")
    return any(isinstance(name, ast.Name) and name.id in absent for name in caught)


def leaves(node: ast.stmt) -> bool:
    return isinstance(node, ast.If) and isinstance(node.body[-1], ast.Return | ast.Raise | ast.Continue)


def is_guarded(path: list[ast.AST], module: str) -> bool:
    """path: from the module's tree down to the node in question."""
    for parent, child in zip(path, path[1:]):
        if isinstance(parent, ast.Try) and catches_absence(parent) and child not in parent.orelse + parent.finalbody:
            return True
        if (
            isinstance(parent, ast.If | ast.IfExp | ast.While)
            and child is not parent.test
            and asks(parent.test, module)
        ):
            return True
        if isinstance(parent, ast.BoolOp):
            before = parent.values[: parent.values.index(child)]  # type: ignore[arg-type]
            if any(asks(value, module) for value in before):
                return True
        for block in (getattr(parent, "body", None), getattr(parent, "orelse", None)):
            if isinstance(block, list) and child in block:
                before = block[: block.index(child)]
                if any(leaves(one) and asks(one.test, module) for one in before):
                    return True
    return False


def paths(tree: ast.AST, above: tuple[ast.AST, ...] = ()) -> Iterator[list[ast.AST]]:
    """Every node with those above it."""
    here = (*above, tree)
    yield list(here)
    for child in ast.iter_child_nodes(tree):
        yield from paths(child, here)


def unguarded(text: str) -> list[str]:
    """'line: module.name' of what only one system has and nothing asks for."""
    found = []
    for path in paths(ast.parse(text)):
        for module, name in used(path[-1]):
            if is_of_one_system(module, name) and not is_guarded(path, module):
                line = getattr(path[-1], "lineno", 0)
                found.append(f"{line}: {module}.{name}" if name else f"{line}: {module}")
    return found
