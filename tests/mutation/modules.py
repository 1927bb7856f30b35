"""Which modules are changed, and by which fast tests the change should be noticed."""

from __future__ import annotations

from tests.mutation.trial import Suite

SHARED = ("tests/shared", "--ignore=tests/shared/test_both_runtimes.py")
PROPERTIES = "tests/host/shared_math/test_shared_math_properties.py"
WHOLE = "tests/host/shared_math/test_whole_properties.py"
SENTENCES = "tests/host/shared_math/test_config_sentences.py"
REFERENCES = tuple(f"tests/references/test_{name}.py" for name in ("lookup", "stoichiometry", "temperatures", "pulses"))
READ = "tests/host/read/test_"
ANALYSIS = "tests/host/analysis/test_"


def reading(*names: str) -> Suite:
    """Tests of the reader, by what stands behind `test_`."""
    return Suite(pytest=tuple(f"{READ}{name}.py" for name in names))


def judging(*names: str) -> Suite:
    """Tests of the analysis, by what stands behind `test_`."""
    return Suite(pytest=tuple(f"{ANALYSIS}{name}.py" for name in names))


def storing(*names: str, stories: tuple[str, ...] = ("raw 25 8 0", "fat 25 8 0")) -> Suite:
    """Tests of the firmware, by what stands behind `test_`, and the story of the power cuts."""
    return Suite(micropython=tuple(f"tests/firmware/test_{name}.py" for name in names), stories=stories)


CONFIG = Suite(pytest=(*SHARED, SENTENCES))
BLOCKS = reading("blocks_by_hand", "rings", "read_damage", "flash_folder")
GROUPS = reading("setup_survives", "read_damage", "rings")
VALUES = reading("values_by_hand", "read_tables", "health", "pulse_width")
PACKED = Suite(
    pytest=(*SHARED, f"{READ}read_damage.py", "tests/fuzz/test_packing.py"),
    micropython=("tests/firmware/test_packing_kernels.py",),
)
JUDGED = ("lifts_and_limiter", "runs_by_speed_alone", "analysis_lean")
STORE = ("recorder", "store", "card")

MODULES: dict[str, Suite] = {
    "shared_math/channels.py": Suite(pytest=(*SHARED, f"{READ}read_tables.py", f"{ANALYSIS}analysis_uncertainty.py")),
    "shared_math/config/__init__.py": CONFIG,
    "shared_math/config/check_channels.py": CONFIG,
    "shared_math/config/check_fuel.py": CONFIG,
    "shared_math/config/check_inputs.py": CONFIG,
    "shared_math/config/check_pulses.py": CONFIG,
    "shared_math/config/check_top.py": CONFIG,
    "shared_math/config/checker.py": CONFIG,
    "shared_math/config/json_text.py": Suite(pytest=(*SHARED, PROPERTIES)),
    "shared_math/config/schema.py": CONFIG,
    "shared_math/converters.py": Suite(pytest=(*SHARED, f"{READ}external_converters.py")),
    "shared_math/faults.py": Suite(pytest=SHARED),
    "shared_math/judging.py": Suite(pytest=(*SHARED, f"{ANALYSIS}analysis_lean.py")),
    "shared_math/layout.py": Suite(pytest=(*SHARED, f"{READ}format_page.py", f"{READ}read_damage.py")),
    "shared_math/lean_watch.py": Suite(pytest=SHARED),
    "shared_math/mixture.py": Suite(pytest=(*SHARED, REFERENCES[1])),
    "shared_math/open_block.py": PACKED,
    "shared_math/packing.py": PACKED,
    "shared_math/unpacking.py": Suite(pytest=(*SHARED, f"{READ}read_damage.py", "tests/fuzz/test_packing.py")),
    "shared_math/speed.py": Suite(pytest=(*SHARED, REFERENCES[3])),
    "shared_math/target.py": Suite(pytest=(*SHARED, REFERENCES[0])),
    "shared_math/thermocouple.py": Suite(pytest=(*SHARED, REFERENCES[2])),
    "shared_math/ticks.py": Suite(pytest=SHARED),
    "shared_math/transfer.py": Suite(pytest=(*SHARED, PROPERTIES, REFERENCES[2])),
    "shared_math/whole_numbers.py": Suite(pytest=(*SHARED, WHOLE)),
    "shared_math/whole_numbers_build.py": Suite(pytest=(*SHARED, WHOLE)),
    "host/ringpull/files/configuration.py": reading("configuration", "values_by_hand"),
    "host/ringpull/ring/blocks/cores.py": BLOCKS,
    "host/ringpull/ring/blocks/crc.py": BLOCKS,
    "host/ringpull/ring/blocks/order.py": BLOCKS,
    "host/ringpull/ring/blocks/rings.py": reading("rings", "blocks_by_hand", "read_damage"),
    "host/ringpull/ring/blocks/scan.py": BLOCKS,
    "host/ringpull/ring/blocks/source.py": BLOCKS,
    "host/ringpull/ring/blocks/store.py": BLOCKS,
    "host/ringpull/ring/rows/compiled.py": reading("read_columns"),
    "host/ringpull/ring/rows/beside.py": GROUPS,
    "host/ringpull/ring/rows/glance.py": reading("unpack_by_hand", "blocks_by_hand", "read_tables", "health"),
    "host/ringpull/ring/rows/groups.py": GROUPS,
    "host/ringpull/ring/rows/sessions.py": reading(
        "sessions_by_hand", "read_damage", "read_tables", "read_columns", "rings", "health"
    ),
    "host/ringpull/ring/rows/setup.py": reading("setup_survives", "read_damage", "read_tables", "read_columns"),
    "host/ringpull/ring/rows/unpack.py": reading("unpack_by_hand", "read_columns", "read_damage"),
    "host/ringpull/ring/values/analog.py": VALUES,
    "host/ringpull/ring/values/codes.py": Suite(
        pytest=(f"{READ}codes_by_hand.py", "tests/references/test_diagnostic_bus.py")
    ),
    "host/ringpull/ring/values/edges.py": reading("edges_by_hand", "read_speed", "pulse_width"),
    "host/ringpull/ring/values/compiled_speed.py": reading("read_speed"),
    "host/ringpull/ring/values/on_time.py": VALUES,
    "host/ringpull/ring/values/pulses.py": VALUES,
    "host/ringpull/ring/values/rest.py": reading("rest_by_hand"),
    "host/ringpull/ring/values/service.py": reading("service_by_hand", "read_tables", "health", "read_damage"),
    "host/ringpull/ring/values/speed.py": reading("values_by_hand", "read_speed"),
    "host/ringpull/ring/values/decoded_columns.py": reading(
        "values_by_hand", "read_tables", "pulse_width", "read_damage"
    ),
    "host/ringpull/ring/values/window.py": reading("windows_by_hand", "read_tables"),
    "host/ringpull/analysis/judge/hints.py": judging("hints_and_holes", "analysis_moved", *JUDGED),
    "host/ringpull/analysis/judge/holes.py": judging("hints_and_holes", *JUDGED, "analysis_map_setups"),
    "host/ringpull/analysis/judge/input_uncertainty.py": judging(
        "stretches_and_spool", "analysis_uncertainty", "judging_numbers"
    ),
    "host/ringpull/analysis/judge/lamp.py": judging("lamp_and_sensor", "never_calm", *JUDGED),
    "host/ringpull/analysis/judge/lean_events.py": judging("judging_numbers", "scatter_at_the_call", *JUDGED),
    "host/ringpull/analysis/judge/limiter.py": judging("hints_and_holes", "lifts_and_limiter", *JUDGED),
    "host/ringpull/analysis/judge/masks.py": judging("judged_span", "judging_numbers", *JUDGED),
    "host/ringpull/analysis/judge/needs.py": judging("stretches_and_spool", "target_ends", "analysis_page", *JUDGED),
    "host/ringpull/analysis/judge/other_events.py": judging("stretches_and_spool", "analysis_moved", *JUDGED),
    "host/ringpull/analysis/judge/reasons.py": judging("judging_numbers", "unrecorded", *JUDGED),
    "host/ringpull/analysis/judge/sensor.py": judging("lamp_and_sensor", "never_calm", *JUDGED),
    "host/ringpull/analysis/judge/session.py": judging(
        "judged_span", "judging_numbers", *JUDGED, "analysis_uncertainty", "unrecorded"
    ),
    "host/ringpull/analysis/judge/spool.py": judging("stretches_and_spool", "judging_numbers", *JUDGED, "never_calm"),
    "host/ringpull/analysis/judge/stretches.py": judging(
        "stretches_and_spool", "judging_numbers", *JUDGED, "unrecorded"
    ),
    "host/ringpull/analysis/judge/uncertainty.py": judging(
        "stretches_and_spool", "judging_numbers", "analysis_uncertainty"
    ),
    "host/ringpull/analysis/judge/unrecorded.py": judging("stretches_and_spool", "unrecorded", "never_calm"),
    "host/ringpull/analysis/judge/verdict.py": judging(
        "judged_span", "judging_numbers", *JUDGED, "unrecorded", "never_calm"
    ),
    "firmware/store/card.py": storing("card_start", "card", stories=()),
    "firmware/store/complete.py": storing("complete", "store"),
    "firmware/store/copier.py": storing("copier", "store", "card", stories=()),
    "firmware/store/fatfile.py": storing("fatfile", "store", "card"),
    "firmware/store/fatmap.py": storing("fatmap", "store", stories=()),
    "firmware/store/outbox.py": storing("recorder", "card", stories=()),
    "firmware/store/packer.py": storing("packing_kernels", *STORE),
    "firmware/store/plain_packer.py": storing("packing_kernels", *STORE),
    "firmware/store/recorder.py": storing("recorder", "store", "card", stories=()),
    "firmware/store/recover.py": storing("recover", "card_start", "card"),
    "firmware/store/revival.py": storing("revival", stories=()),
    "firmware/store/segments.py": storing("segments", stories=("littlefs 400 9 0",)),
    "firmware/store/setup_text.py": storing("setup_text", stories=()),
    "firmware/store/writer.py": storing("recorder", "store", "card"),
    "firmware/store/viper_packing.py": storing("packing_kernels", stories=()),
}
