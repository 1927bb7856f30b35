"""What the documents show: command lines and examples, read from the pages themselves."""

import re
import textwrap

from trees import ROOT

PAGES = ("README.md", "host/docs/guide.md", "host/docs/boards.md", "host/docs/in_the_car.md", "hardware/README.md")
PAGES += ("host/docs/cars_computer.md",)
PAGES += ("host/docs/logger_json.md", "host/docs/lamp_and_faults.md", "host/ANALYSIS.md", "DEVELOPERS.md")


def text(page):
    """The page as it stands."""
    return (ROOT / page).read_text(encoding="utf-8")


def blocks(page_text, language):
    """The contents of the page's fenced blocks in a language, without the indent of a list."""
    found = re.findall(rf"^( *)```{language}\n(.*?)^\1```", page_text, re.S | re.M)
    return [textwrap.dedent(block) for _, block in found]


def shell_lines(page_text):
    """Every command line in the page's sh blocks, continued lines joined."""
    return [line for block in blocks(page_text, "sh") for line in _lines(block)]


def _lines(block):
    return [line for line in block.replace("\\\n", " ").splitlines() if line.strip()]


def over_usb(page_text):
    """The command lines of the page's block that begins on a bare board and ends with a report."""
    (block,) = [block for block in blocks(page_text, "sh") if "ringpull install" in block]
    return _lines(block)


def links(page_text):
    """Files that the page links to or shows, without places inside them."""
    return [link for link in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", page_text) if "://" not in link]
