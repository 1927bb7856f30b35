"""What is read off the lamp's light, on light that was made here."""

import lamp_light
import measure_second
import numpy as np
import second_stories

TICK_MS = 16  # the lamp's timer: an edge comes up to so long after its place


def light(*told):
    """Edges of a lamp that tells each (from, until, name) in turn."""
    ways = lamp_light.patterns()
    edges, level = [], False
    for from_s, until_s, name in told:
        step_ms, steps = ways[name]
        for ms in range(int(from_s * 1000) // TICK_MS * TICK_MS + TICK_MS, int(until_s * 1000), TICK_MS):
            now = bool(steps[ms // step_ms % len(steps)])
            if now != level:
                edges.append((ms / 1000 + 0.001, now))
                level = now
    return edges


def test_every_pattern_is_read_as_itself():
    ways = lamp_light.patterns()
    assert len(ways) > 15
    for name in ways:
        if name == "marking":  # steadily lit
            continue
        read = lamp_light.told(light((0.0, 20.0, name)), 0.1, 20.0)
        assert [what for _, what in read] == [name]
        off = lamp_light.off_place(light((0.0, 20.0, name)), 0.1, 20.0, np.zeros(0), ways[name][0])
        assert off[0] > 4 and off[1:] == (0, 0)


def test_a_change_is_told_with_its_time_and_explains_its_edge():
    edges = light((0.0, 6.33, "recording"), (6.33, 12.0, "marking"))
    read = lamp_light.told(edges, 1.0, 12.0)
    assert [what for _, what in read] == ["recording", "marking"] and abs(read[1][0] - 6.33) < 0.05
    assert lamp_light.step_ms({"recording", "fault 24"}) == 50
    assert lamp_light.off_place(edges, 1.0, 12.0, np.zeros(0), 250)[1:] == (1, 1)
    assert lamp_light.off_place(edges, 1.0, 12.0, np.array([6.33]), 250)[1:] == (1, 0)


def test_a_lamp_that_stands_still_is_no_pattern():
    frozen = [edge for edge in light((0.0, 12.0, "fault 24")) if not 4.0 < edge[0] < 5.7]
    read = lamp_light.told(frozen, 1.0, 12.0)
    assert len(read) > 1


def test_an_uneven_edge_is_unexplained():
    edges = [(at + (0.03 if 4.0 < at < 4.7 else 0.0), level) for at, level in light((0.0, 12.0, "fault 24"))]
    counted = lamp_light.off_place(edges, 1.0, 12.0, np.zeros(0), 200)
    assert counted[1] == counted[2] > 0


def test_lines_of_a_measured_story_replace_the_old_ones(tmp_path, monkeypatch):
    got = {
        "lamp_edges": 9,
        "lamp_edges_late": 1,
        "lamp_edges_unexplained": 0,
        "lamp_told": "lean from 8.6 s",
        "resets": 0,
    }
    got |= {"cpu": 0.25, "rows": 100, "rows_missing": 3, "rows_told_lost": 3, "holes": 1, "warning_delay_s": 0.31}
    page = tmp_path / "RESULTS.md"
    page.write_text("# Head\n\ntable\n\n## Another part\n\nkept\n")
    monkeypatch.setattr(measure_second, "RESULTS", page)
    measure_second.write("sound", got, "abc", "0123")
    measure_second.write("out", got, "abc", "0123")
    measure_second.write("sound", got | {"rows_missing": 4}, "def", "0123")
    text = page.read_text()
    assert text.startswith("# Head\n\ntable\n") and "\n## Another part\n\nkept\n" in text
    assert text.count("| sound | ") == 2 and text.count("| out | ") == 2
    assert "4 / 3 in 1" in text and "| def |" in text and text.index("| sound |") < text.index("| out |")


def test_every_story_is_told():
    assert all(what and callable(made) for what, made in second_stories.STORIES.values())
    assert not any("|" in what for what, _ in second_stories.STORIES.values())
