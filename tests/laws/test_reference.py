"""The reference of logger.json is the schema's own: every key with an example that passes, every name that counts."""

import json
import re

import pytest

from ringpull.analysis.drive_state import roles
from ringpull.device import uses
from shared_math import config
from tests.make import reference
from tests.make import reference_texts as texts

CASES = [(name, at) for name, examples in texts.EXAMPLES.items() for at in range(len(examples))]


def test_the_page_is_up_to_date():
    assert reference.PAGE.read_text(encoding="utf-8") == reference.page(), "write it: python -m tests.make.reference"


@pytest.mark.parametrize(("name", "at"), CASES)
def test_every_example_passes_the_checks(name, at):
    made = texts.whole(name, texts.EXAMPLES[name][at])
    assert config.check(made) == []


@pytest.mark.parametrize(("name", "at"), CASES)
def test_the_example_is_really_in_what_is_checked(name, at):
    """A key of it that is made unknown is told."""
    example = texts.EXAMPLES[name][at]
    key = next(iter(example))
    wrong = {("wrong_" if one == key else "") + one: value for one, value in example.items()}
    try:
        made = texts.whole(name, wrong)
    except KeyError:
        return  # the helper itself reads that key
    assert config.check(made)


def test_every_block_on_the_page_is_json_and_the_whole_file_is_clean():
    blocks = re.findall(r"```json\n(.*?)```", reference.PAGE.read_text(encoding="utf-8"), re.S)
    assert len(blocks) > len(CASES) - 5
    parsed = [json.loads(block) for block in blocks]
    assert config.check(parsed[0]) == [] and parsed[0] == reference.whole_file()


def test_every_key_of_the_schema_has_its_row():
    page = reference.PAGE.read_text(encoding="utf-8")
    tables = {**reference.TABLES, **reference.PARTS, **{f"kind {kind}": keys for kind, keys in reference.KINDS.items()}}
    for name, keys in tables.items():
        title = {"top": "The file"}.get(name, name)
        part = re.search(rf"^##+ {re.escape(title)}\n(.*?)(?=^##|\Z)", page, re.S | re.M)
        assert part, title
        for key in keys:
            if name.startswith("kind ") and key in reference.COMMON:
                continue
            (row,) = re.findall(rf"^\| `{key}` \|.*$", part[1], re.M)
            cells = [cell.strip() for cell in row.strip("|").split(" | ")]
            assert len(cells) == 6 and cells[1] and cells[3] and cells[5], row
    assert set(texts.KINDS) == set(reference.KINDS)


def test_links_lead_to_headings():
    page = reference.PAGE.read_text(encoding="utf-8")
    headings = {
        line.lstrip("# ").lower().replace(" ", "-").replace(",", "").replace(".", "")
        for line in page.splitlines()
        if line.startswith("#")
    }
    for link in re.findall(r"\]\(#([^)]+)\)", page):
        assert link in headings, link


@pytest.mark.parametrize("role", roles.NAMES)
def test_names_are_spelled_as_the_analysis_reads_them(role):
    spelled = reference.spelled(roles.NAMES[role])
    assert spelled and all(re.fullmatch(roles.NAMES[role], name) for name in spelled)
    page = reference.PAGE.read_text(encoding="utf-8")
    assert all(f"`{name}`" in page for name in spelled) or role not in uses.BRINGS


def test_all_variants_are_spelled():
    assert reference.spelled("a|b(_c)?(_d)?|e_(f|g)") == ["a", "b", "b_d", "b_c", "b_c_d", "e_f", "e_g"]
