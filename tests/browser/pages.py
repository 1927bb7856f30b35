"""What the browser tests share."""

import threading
from contextlib import contextmanager
from pathlib import Path

import axe_playwright_python
import limits

from ringpull.view.server import Server
from ringpull.view.shelf import Shelved

ROOT = Path(__file__).resolve().parents[2]
CARD = ROOT / "demo_logs" / "v1_marked"
NASTY = '"><script>document.title="owned"</script><img src=x onerror=alert(1)>\'&amp;</script><!--\u2028'
AXE = Path(axe_playwright_python.__file__).with_name("axe.min.js")


def until(page, expression):
    """Wait until a JavaScript expression is true. The page's own policy forbids the browser library's way to wait."""
    limits.until(lambda: page.evaluate(expression), expression)


@contextmanager
def serving(*sources):
    """A server of the local page that shows the sources."""
    shelf = [Shelved(source) for source in sources]
    server = Server(shelf)
    for one in shelf:
        one.start()
    threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
    yield server
    server.shutdown()
    server.server_close()
