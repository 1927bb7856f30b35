"""The dry run's car at the other end of the bus, where the logger is stopped."""

import socket
import struct
import threading

import pytest

from ringpull.dryrun.bus_server import BusServer

RESET = struct.pack("ii", 1, 0)  # hang up at once, as the system does for a process that is killed


@pytest.mark.parametrize("last", [b"", b"M 0 500 1;U 1000", b"M 0 500 1;U 1000\n"])
def test_a_logger_that_is_killed_ends_no_car(last, monkeypatch):
    faults = []
    monkeypatch.setattr(threading, "excepthook", faults.append)
    place = tuple(BusServer().start())
    for _ in range(3):
        with socket.create_connection(place) as line:
            line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET)
            line.sendall(last)
    with socket.create_connection(place) as line, line.makefile("rb") as said:
        line.sendall(b"M 0 500 1;U 1000\n")
        assert said.readline().endswith(b"\n")  # it still answers, so that the calls before have ended
    assert faults == []
