"""The watchdog: when it starts, and who feeds it. Runs under MicroPython."""

import fake_board

fake_board.install()

import logger  # noqa: E402
from acquire import button  # noqa: E402
from panel import lamp  # noqa: E402
from start import session  # noqa: E402
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

    def called(self):
        return False

    def ticks_us(self):
        return 0


class Anything:
    row = 0
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
        dead = False
        unkept = False
        writes = 2

        class outbox:
            kept_dropped = 0

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

    class Starts(session.Start):
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
        bus = None
        expected = []
        pairs = []
        faults = []

        def crank(self):
            return None

    class Panel:
        lamp = lamp.Lamp(None)

        def begin(self, _logger):
            pass

    one = logger.Logger(Starting(0), Plan(), Panel())
    one._open = Starts(one).begin
    one.start()
    assert order == ["card open", "setup written", "watch", "rows"]


class Waiting(Turning):
    """Tells what was done while its card was waited for."""

    now = 0
    meanwhile = None

    def ticks_us(self):
        return self.now

    def loop(self):
        pass


def test_whoever_waits_for_the_card_feeds_and_turns_the_rest_of_the_loop():
    board = Waiting(0)
    one = waiting_logger(board)
    turns = []
    one.turn = lambda: turns.append(board.now) or setattr(one, "turned", board.now)
    for _ in range(100):
        board.now += 1000
        one.meanwhile()
    assert board.fed == len(turns) == 25
    one.turn = lambda: one.meanwhile() or turns.append(0)  # a turn that waits for the card itself
    board.now += 5000
    one.meanwhile()
    assert len(turns) == 26


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

    class queue:
        head = tail = 0

    def _close_block(self):
        pass

    _write_health = _close_block


def test_every_write_at_the_end_feeds():
    slow = Slow()
    slow.writer = slow.copier = slow
    fed = []
    recorder.Recorder.finish(slow, lambda: fed.append(1))
    assert len(fed) == 5


def test_a_session_whose_row_numbers_end_is_followed_by_another_without_a_press():
    """Two months of rows: greater numbers would be heap objects in the timer's handler, then negative ones."""
    did = []

    class Ending(Turning):
        def restart(self):
            did.append("restart")
            self.left = 0

        def end(self):
            did.append("end")

    def made(row):
        one = waiting_logger(Ending(2))
        one.finish = lambda: did.append("finish")
        one.wait_for_press = lambda: did.append("wait")
        one.start = lambda: setattr(one, "sampler", Anything())
        one.sampler = Anything()
        one.sampler.row = row
        return one

    made(0x3F000000).run()
    assert did == ["finish", "restart", "finish", "wait", "end"], did
    did.clear()
    made(0x3F000000 - 1).run()
    assert did == ["finish", "wait", "end"], did
