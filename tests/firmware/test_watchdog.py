"""The watchdog: when it starts, and who feeds it. Runs under MicroPython."""

import fake_board

fake_board.install()

import logger  # noqa: E402
from acquire import button  # noqa: E402
from panel import lamp  # noqa: E402
from store import recorder  # noqa: E402


class Turning:
    """A board of which a few turns are asked, each of which must feed."""

    def __init__(self, turns):
        self.left = turns
        self.fed = 0
        self.trouble = None

    def powered(self):
        self.left -= 1
        return self.left >= 0

    def feed(self):
        self.fed += 1

    def wait(self, _queue, _enough):
        return False

    def idle(self):
        pass


class Anything:
    stop_wanted = False
    queue = None
    config = {"rate_hz": 200}
    lamp = None
    health = None

    def waiting(self):
        pass


def waiting_logger(board):
    one = logger.Logger(board, Anything(), Anything())
    one.marks = one.sampler = one.health = Anything()
    return one


def test_every_turn_of_recording_feeds():
    board = Turning(5)
    waiting_logger(board).record()
    assert board.fed == 5


def test_every_turn_of_waiting_for_the_press_feeds():
    for pressed in (False, True):
        board = Turning(5)
        one = waiting_logger(board)
        one.button = button.Button()
        one.button.pressed = pressed
        one.wait_for_press()
        assert board.fed == 5


def test_it_starts_once_the_rings_are_ready_and_before_the_rows():
    order = []

    class Files:
        session = 1

        def write_setup(self, _row):
            order.append("setup written")

        def wrote(self, _before, _row):
            pass

    class Starting(Turning):
        def watch(self):
            order.append("watch")

        def on_button(self, _button):
            pass

        def ticks_us(self):
            return 0

        def start_timer(self, _period_us, _take):
            order.append("rows")

    class Starts(logger.Logger):
        def _setup_text(self, _period_us):
            return b"{}"

        def _sources(self, _settings, _table):
            return []

        def _files(self, _setup, _waiting):
            order.append("card open")
            return Files(), Files()

    class Plan:
        table = [{"b": 8}] * 6
        config = {"rate_hz": 200}
        throttle = None
        supply = None
        expected = []
        faults = []

        def crank(self):
            return None

    class Panel:
        lamp = lamp.Lamp()

        def begin(self, _logger):
            pass

    Starts(Starting(0), Plan(), Panel()).start()
    assert order == ["card open", "setup written", "watch", "rows"]


class Reviving(Turning):
    """Tells in which order it is asked; its card may be missing."""

    def __init__(self, missing):
        Turning.__init__(self, 0)
        self.missing = missing
        self.order = []

    def watch(self):
        self.order.append("watch")

    def unwatch(self):
        self.order.append("unwatch")

    def remount(self):
        self.order.append("card")
        if self.missing:
            raise OSError(19)


def test_making_a_cards_rings_anew_is_not_watched():
    for missing in (False, True):
        board = Reviving(missing)
        one = waiting_logger(board)
        one._card = one.recorder = one.lamp = one.plan = Card()
        one.revive()
        assert board.order == ["unwatch", "card", "watch"]


class Card:
    """A card, its writer and its copier at once."""

    ring_id = 1
    made_new = False
    unusable = False
    fault = 0
    faults = []

    def __call__(self):
        return self

    def open(self):
        pass

    def bind(self, _place, _same):
        pass


Card.writer = Card.copier = Card()


class Slow:
    """Recorder, writer and copier at once: three writes of rows, two of copies."""

    dead = False
    writes, copies = 3, 2

    def flush(self):
        self.writes -= 1
        return self.writes < 0

    def step(self):
        self.copies -= 1
        return self.copies >= 0

    def _pack(self):
        pass

    _close_block = _write_health = _pack


def test_every_write_at_the_end_feeds():
    slow = Slow()
    slow.writer = slow.copier = slow
    fed = []
    recorder.Recorder.finish(slow, lambda: fed.append(1))
    assert len(fed) == 5
