"""The whole firmware on an emulated RP2040 keeps every row and edge, or counts what it loses. Minutes each."""

import pytest

pytestmark = pytest.mark.slow


@pytest.fixture(scope="session")
def figures(uf2):
    """Figures of a scenario, run once."""
    import scenarios

    held = {}

    def of(name):
        if name not in held:
            held[name] = scenarios.figures(uf2, name)
        return held[name]

    return of


def test_soft_timer_loses_nothing_without_stalls(figures):
    got = figures("generic")
    assert got["lost_rows"] == got["rows_missing"] == 0
    assert got["edges_lost"] == 0 and got["edges"] > 500
    assert got["cpu"] < 0.6


def test_soft_timer_counts_what_stalls_cost(figures):
    got = figures("generic, stalls")
    assert got["card_stalls"] >= 2
    assert got["lost_rows"] == got["rows_missing"]
    assert got["edges_lost"] <= got["edges_rejected"]
    assert got["cpu"] < 0.6


@pytest.mark.parametrize("name", ["twelve, stalls", "twelve, marked"])
def test_hard_timer_keeps_everything_through_stalls(figures, name):
    got = figures(name)
    assert got["card_stalls"] >= 2
    assert got["lost_rows"] == got["rows_missing"] == 0
    assert got["edges_lost"] == got["edges_rejected"] == 0 and got["edges"] > 1000
    assert got["jitter_us"] < 50 and got["late_spread_us"] < 50
    assert got["cpu"] < 0.5
    assert got["heap_free_bytes"] > 60000


def test_a_marked_pull_is_copied_whole_through_stalls(figures):
    got = figures("twelve, marked")
    assert got["pull_rows"] > 1000 and got["pull_rows_missing"] == got["pull_rows_changed"] == 0


def test_four_channels_at_1_khz(figures):
    got = figures("four at 1 kHz")
    assert got["lost_rows"] == got["rows_missing"] == 0 and got["rows"] > 1500
    assert got["late_spread_us"] < 50 and got["cpu"] < 0.3


def test_on_its_own_flash_every_row_is_counted_and_no_edge_lost(figures):
    got = figures("on its own flash")
    assert got["flash_erases"] > 10
    assert got["lost_rows"] == got["rows_missing"] > 0
    assert got["edges_lost"] == got["edges_rejected"] == 0 and got["edges"] > 1000


def test_nothing_is_allocated_per_row(figures):
    got = figures("generic, counted")
    assert got["bytes_per_row"] == 0
    assert got["bytes_per_block_packed"] == 0 and got["bytes_per_block_written"] <= 320
