"""One module for each kind of block."""

from hardware.circuit.blocks import (
    analog,
    bus,
    clamp,
    converter,
    differential,
    panel,
    screens,
    supply,
    tach,
    tap,
    temperature,
)

ALL = (
    supply.SUPPLY,
    supply.HOLD_UP,
    supply.SENSOR_SUPPLY,
    clamp.CLAMP,
    analog.ANALOG_5V,
    analog.ANALOG_BATTERY,
    differential.DIFFERENTIAL,
    tap.SENSOR_TAP,
    screens.SCREENS,
    temperature.THERMISTOR,
    temperature.PT1000,
    temperature.REFERENCE,
    converter.CONVERTER,
    tach.TACH_LOGIC,
    tach.TACH_COIL,
    tach.TACH_OPTO,
    tach.TACH_SELECT,
    panel.BUTTON_LAMP,
    panel.BUZZER,
    panel.CARD,
    panel.SCREEN,
    bus.CAN,
    bus.CAN_2515,
)
BY_NAME = {block.name: block for block in ALL}
