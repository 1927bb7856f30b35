"""`make docs`: the pictures that README shows, taken of what the program makes, and README's command table."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PICTURE = ROOT / "host" / "docs" / "report.png"
SIZE = "1200,1500"


def photograph(page: Path, picture: Path) -> None:
    """The top of a page as a browser of 1200 x 1500 pixels shows it."""
    browser = shutil.which("chromium")
    if not browser:
        sys.exit("The picture needs the browser: apt-get install chromium")
    picture.parent.mkdir(parents=True, exist_ok=True)
    command = [browser, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", f"--window-size={SIZE}"]
    command += ["--virtual-time-budget=4000", f"--screenshot={picture}", page.as_uri()]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    if done.returncode or not picture.exists():
        sys.exit(f"The browser took no picture: {done.stderr.strip()}")


def main() -> int:
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([sys.executable, "-m", "ringpull", "demo", "-o", folder], check=True, stdout=subprocess.DEVNULL)
        photograph(Path(folder) / "report.html", PICTURE)
    subprocess.run([sys.executable, str(ROOT / "tests" / "laws" / "readme_table.py")], check=True)
    print(PICTURE.relative_to(ROOT))
    return 0


if __name__ == "__main__":
    sys.exit(main())
