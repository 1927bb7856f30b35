"""What a car's computers say on the diagnostic bus: J1979 values and codes over ISO 15765-2. Both runtimes.

Nothing is loaded before it is called: a recording board keeps the transport alone.
"""


def values(pid, data):
    """What parameter `pid` (a number) of service 01 or 02 says: list of (name, value, unit), "" where there is no unit.

    data: the bytes after the PID. Empty where the PID is not known here or the bytes are too few: nothing is made up.
    """
    from shared_math.obd import status

    return status.values(pid, data)


def payloads(frames):
    """ISO 15765-2 undone unit by unit: list of (id, payload bytes) in the order in which the messages were complete.

    frames: list of (id, bytes of the CAN frame) in order of arrival. What can't be put together is left out.
    """
    from shared_math.obd import transport

    units = {}
    out = []
    for who, data in frames:
        unit = units.get(who)
        if unit is None:
            unit = units[who] = transport.Receiver(transport.MOST_LENGTH)
        if unit.take(data, len(data)) == transport.WHOLE:
            out.append((who, bytes(unit.payload[: unit.length])))
    return out
