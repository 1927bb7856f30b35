"""One module for each kind of block."""

from hardware.circuit.blocks import analog, clamp, differential, panel, supply, tach, temperature

ALL = (
    supply.SUPPLY,
    supply.HOLD_UP,
    supply.SENSOR_SUPPLY,
    clamp.CLAMP,
    analog.ANALOG_5V,
    analog.ANALOG_BATTERY,
    differential.DIFFERENTIAL,
    temperature.THERMISTOR,
    temperature.PT1000,
    tach.TACH_LOGIC,
    tach.TACH_COIL,
    tach.TACH_OPTO,
    panel.BUTTON_LAMP,
    panel.BUZZER,
    panel.CARD,
    panel.SCREEN,
    panel.CAN,
)
BY_NAME = {block.name: block for block in ALL}
