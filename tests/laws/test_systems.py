"""host/ and run.py start on Linux, macOS and Windows: what only one of them has stands behind a question for it."""

import pytest
from one_system import unguarded
from trees import HOST, ROOT, sources


def test_what_one_system_has_is_asked_for_first():
    files = [*sources(HOST), ROOT / "run.py"]
    told = [f"{path.relative_to(ROOT)}:{line}" for path in files for line in unguarded(path.read_text("utf-8"))]
    assert not told, "\n".join(told)


@pytest.mark.parametrize(
    "text",
    [
        "import fcntl",
        "import resource as limits",
        "from termios import tcgetattr",
        "def f():\n    import winreg",
        "import os\nos.fork()",
        "import os\nif os.geteuid() == 0:\n    pass",
        "import os\nif True:\n    os.mkfifo('x')",
        "from os import killpg",
        "import signal\nsignal.signal(signal.SIGALRM, None)",
        "import signal\nsignal.signal(signal.SIGHUP, None)",
        "import os\nif hasattr(os, 'x'):\n    pass\nos.nice(1)",
        "import os, signal\nif hasattr(signal, 'alarm'):\n    os.nice(1)",
        "import os\nos.nice(1) if True else hasattr(os, 'nice')",
        "import os\nos.geteuid() == 0 and hasattr(os, 'geteuid')",
        "try:\n    import fcntl\nexcept OSError:\n    pass",
        "try:\n    pass\nexcept ImportError:\n    pass\nelse:\n    import fcntl",
        "import os\ndef f():\n    if hasattr(os, 'nice'):\n        return\ndef g():\n    os.nice(1)",
    ],
)
def test_a_breach_is_found(text):
    assert unguarded(text)


@pytest.mark.parametrize(
    "text",
    [
        "try:\n    import fcntl\nexcept ImportError:\n    fcntl = None",
        "try:\n    import fcntl\nexcept ImportError:\n    import msvcrt",
        "import os\nif hasattr(os, 'nice'):\n    os.nice(1)",
        "import os\ndef f():\n    if not hasattr(os, 'preadv'):\n        return\n    os.preadv()",
        "import os\nroot = hasattr(os, 'geteuid') and os.geteuid() == 0",
        "import os, sys\nn = 1 if sys.platform == 'win32' else os.nice(0)",
        "import os, sys\nif sys.platform != 'win32':\n    os.fork()",
        "import signal\nsignal.signal(signal.SIGINT, signal.SIG_DFL)",
        "import os\nos.kill(1, 15)\nos.path.join('a', 'b')",
    ],
)
def test_what_is_asked_for_passes(text):
    assert not unguarded(text)
