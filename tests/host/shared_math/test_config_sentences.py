"""Every mistake that can be made in a configuration has its own sentences, and a case that makes it."""

import re
import sys
from pathlib import Path

import shared_math
from shared_math import config
from shared_math.config.words import WORDS

sys.path.insert(0, str(Path(__file__).parents[2] / "shared"))

import mistakes_elsewhere  # noqa: E402
import mistakes_in_channels  # noqa: E402
from config_mistaken import mistaken  # noqa: E402

MISTAKES = mistakes_elsewhere.MISTAKES + mistakes_in_channels.MISTAKES


def test_sentences_and_checks_name_the_same_codes():
    source = "".join(path.read_text() for path in Path(shared_math.__file__).parent.glob("config/*.py"))
    given = set(re.findall(r'bad\(\s*"([a-z_]+)"', source)) | set(re.findall(r'bad\("(\w+)" if \w+ else', source))
    given |= set(re.findall(r'bad\("\w+" if \w+ else "(\w+)"', source))
    assert given == set(WORDS)


def test_every_code_is_reached():
    reached = {code for code, _, _ in MISTAKES}
    assert reached == set(WORDS), reached ^ set(WORDS)


def test_every_code_has_its_own_sentences():
    seen = set()
    for code, path, value in MISTAKES:
        for problem in config.check(mistaken(path, value)):
            if problem[0] != code:
                continue
            lines = config.explain(problem)
            assert len(lines) == 3
            for line in lines:
                assert line and "{w}" not in line and "{d}" not in line and "\n" not in line, line
            assert (problem[1] or "The file") in lines[0] or code in (
                "no_channels",
                "many_channels",
                "newer_version",
            ), lines
            break
        seen.add(WORDS[code][0])
    assert len(seen) == len(WORDS)
