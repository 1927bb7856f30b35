"""The local page: what the server gives and refuses, and the page in a browser."""

import http.client
import json
import os
import shutil
import signal
import socket
import struct
import subprocess
import sys
import threading

import limits
import numpy as np
import pytest
from limits import HANG_S
from pages import CARD, serving, until

from ringpull.view.pyramid import Pyramid, grouped, runs_of
from ringpull.view.shelf import Shelved


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """A server that has read its card, for tests that change nothing on it or beside the card."""
    card = shutil.copytree(CARD, tmp_path_factory.mktemp("served") / "card")
    with serving(card) as server:
        server.shelf[0].wait()
        yield server


@pytest.fixture
def own(tmp_path):
    """A server of the test's own, which has begun to read its card."""
    with serving(shutil.copytree(CARD, tmp_path / "card")) as server:
        yield server


def answered(server, path, method="GET", body=None, **headers):
    """(the answer with its head, its body)."""
    connection = http.client.HTTPConnection("127.0.0.1", server.server_port, timeout=HANG_S)
    connection.request(
        method, path, body, {"Host": f"127.0.0.1:{server.server_port}", "Cookie": server.cookie} | headers
    )
    answer = connection.getresponse()
    return answer, answer.read()


def ask(server, path, method="GET", body=None, **headers):
    answer, body = answered(server, path, method, body, **headers)
    return answer.status, body


def window(server, start, end, width):
    status, body = ask(server, f"/window?drive=0&session=1&start={start}&end={end}&width={width}")
    assert status == 200
    length = int(np.frombuffer(body[:4], "<u4")[0])
    head = json.loads(body[4 : 4 + length])
    return head, np.frombuffer(body[4 + length :], "<f4").reshape(-1, head["rows"])


def test_only_loopback(served):
    assert served.server_address[0] == "127.0.0.1"


@pytest.mark.parametrize(
    "host", ["example.org", "192.168.1.2:80", "", "127.0.0.1", "127.0.0.1:1", "localhost.example.org"]
)
def test_another_host_name_is_refused(served, host):
    assert ask(served, "/state", Host=host)[0] == 403


def test_another_page_is_refused(served):
    assert ask(served, "/state", Origin="http://example.org")[0] == 403
    assert ask(served, "/remark", "POST", b"{}", Origin="null")[0] == 403
    assert ask(served, "/state", Origin=f"http://localhost:{served.server_port}")[0] == 200


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost"])
def test_a_page_of_another_port_of_this_machine_is_refused(served, name):
    """Another program's page, on the same host: it is another origin."""
    for origin in (f"http://{name}:{served.server_port + 1}", f"http://{name}", f"https://{name}:{served.server_port}"):
        assert ask(served, "/state", Origin=origin)[0] == 403, origin
        assert ask(served, "/remark", "POST", b"{}", Origin=origin)[0] == 403, origin
    assert ask(served, "/state", Origin=f"http://{name}:{served.server_port}")[0] == 200


@pytest.mark.parametrize(
    "path",
    ["/", "/state", "/window?drive=0&session=1&start=0&end=9&width=9", "/export?drive=0&session=1&spans=0:1", "/no"],
)
def test_no_answer_is_kept_by_the_browser_or_taken_for_another_kind(served, path):
    answer, _ = answered(served, path)
    assert answer.headers.get_all("Cache-Control") == ["no-store"]
    assert answer.headers.get_all("X-Content-Type-Options") == ["nosniff"]


@pytest.mark.parametrize(
    "path",
    ["/etc/passwd", "/../../etc/passwd", "/card/drive.rpl", "//etc/passwd", "/window/../state", "/%2e%2e/etc/passwd"],
)
def test_nothing_else_is_served(served, path):
    assert ask(served, path)[0] == 404


@pytest.mark.parametrize(
    "query",
    [
        "",
        "drive=9&session=1&start=0&end=1&width=9",
        "drive=-1&session=1&start=0&end=1&width=9",
        "drive=0&session=77&start=0&end=1&width=9",
        "drive=0&session=1&start=nan&end=1&width=9",
        "drive=0&session=1&start=2&end=1&width=9",
        "drive=0&session=1&start=0&end=x&width=9",
    ],
)
def test_requests_without_meaning(served, query):
    assert ask(served, f"/window?{query}")[0] == 400


def test_windows_hold_every_extreme(served, drive):
    frame = drive.sessions[0].frame()
    names = served.shelf[0].shown[1].names
    for start, end in ((0, 140), (30, 60), (61.0, 61.5)):
        head, samples = window(served, start, end, 500)
        inside = frame[(frame["time_s"] >= start) & (frame["time_s"] <= end)]
        for at, name in enumerate(names):
            true = inside[name]
            assert np.nanmax(samples[at]) >= true.max() - 1e-4 * abs(true.max())
            assert np.nanmin(samples[at]) <= true.min() + 1e-4 * abs(true.min())
        assert sum(count for _, count in head["runs"]) == samples.shape[1] <= 2200


def test_close_windows_are_the_rows_themselves(served, drive):
    frame = drive.sessions[0].frame()
    head, samples = window(served, 61.0, 62.0, 500)
    (first, count), period_s = head["runs"][0], head["period_s"]
    rows = frame[np.round(frame["time_s"] / period_s).between(first, first + count - 1)]
    assert count == len(rows) >= 200
    for at, name in enumerate(served.shelf[0].shown[1].names):
        assert samples[at] == pytest.approx(rows[name].to_numpy(), rel=1e-6, nan_ok=True)


def test_rows_are_the_decoded_ones(served, drive):
    frame = drive.sessions[0].frame()
    for row in np.random.default_rng(3).integers(0, len(frame), 50):
        status, body = ask(served, f"/row?drive=0&session=1&time={frame['time_s'].iloc[row]}")
        told = json.loads(body)
        assert status == 200 and told["time_s"] == pytest.approx(frame["time_s"].iloc[row])
        assert len(told["values"]) in (6, 9)
        names = served.shelf[0].shown[1].names
        for name, value in zip(names, told["values"], strict=False):  # what the analysis adds may follow
            true = frame[name].iloc[row]
            assert value is None if np.isnan(true) else value == pytest.approx(true, rel=1e-6)


def test_export_is_the_decoded_window(served, drive):
    status, body = ask(served, "/export?drive=0&session=1&spans=60:61")
    lines = body.decode().split("\n")
    frame = drive.sessions[0].frame()
    inside = frame[(frame["time_s"] >= 60) & (frame["time_s"] <= 61)]
    assert status == 200 and len(lines) == len(inside) + 2
    assert [float(v) for v in lines[1].split(",")] == pytest.approx(
        inside[lines[0].split(",")].iloc[0].tolist(), rel=1e-6
    )


def test_remarks_are_kept_beside_the_ring_file(own):
    text = '"><script>alert(1)</script>'
    told = {"drive": 0, "session": 1, "time_s": 61.9, "text": text}
    assert ask(own, "/remark", "POST", json.dumps(told))[0] == 200
    kept = json.loads((own.shelf[0].source / "times.json").read_text())
    assert kept == [{"session": 1, "time_s": 61.9, "text": text}]
    assert Shelved(own.shelf[0].source).remarks() == kept
    ask(own, "/remark", "POST", json.dumps(told | {"text": ""}))
    assert own.shelf[0].remarks() == []


def test_export_of_several_spans_between_two_speeds(served, drive):
    names = served.shelf[0].shown[1].names
    column = names.index("engine_speed_rpm")
    path = f"/export?drive=0&session=1&spans=30:36,58:64&column={column}&low=3000&high=4000"
    lines = ask(served, path)[1].decode().split("\n")
    frame = drive.sessions[0].frame()
    inside = frame[frame["time_s"].between(30, 36) | frame["time_s"].between(58, 64)]
    inside = inside[inside["engine_speed_rpm"].between(3000, 4000)]
    assert len(lines) == len(inside) + 2 > 400
    assert [float(line.split(",")[0]) for line in lines[1:-1]] == pytest.approx(inside["time_s"].tolist())


@pytest.mark.parametrize(
    "query", ["", "spans=", "spans=1", "spans=2:1", "spans=1:2:3", "spans=1:nan", "spans=1:2&column=99&low=1&high=2"]
)
def test_exports_without_meaning(served, query):
    assert ask(served, f"/export?drive=0&session=1&{query}")[0] == 400


def remark(server, **other):
    told = {"drive": 0, "session": 1, "time_s": 61.9, "text": "here"} | other
    return ask(server, "/remark", "POST", json.dumps(told))[0]


@pytest.mark.parametrize(
    "body",
    ["[]", "5", "null", "{}", "[" * 60000, '{"drive":[0],"session":1,"time_s":1,"text":""}', '{"drive":0,"session":1}'],
)
def test_remarks_without_meaning(served, body, capfd):
    assert ask(served, "/remark", "POST", body)[0] == 400
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(
    "other", [{"session": 99}, {"time_s": None}, {"time_s": "x"}, {"text": "\ud83c"}, {"drive": -1}]
)
def test_remarks_on_nothing(served, other):
    assert remark(served, **other) == 400
    assert not (served.shelf[0].source / "times.json").exists()


def test_remarks_at_the_same_moment_are_all_kept(own):
    threads = [threading.Thread(target=remark, args=(own,), kwargs={"time_s": n}) for n in range(30)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert [r["time_s"] for r in own.shelf[0].remarks()] == list(range(30))


def test_a_damaged_file_of_remarks_is_not_written_over(own):
    path = own.shelf[0].source / "times.json"
    for damaged in (
        '[{"session": 1, "time_s": 2',
        '[{"session": 1, "time_s": 2, "text": "kept"}, {"session": "x"}]',
        "5",
    ):
        path.write_text(damaged)
        assert remark(own) == 507 and path.read_text() == damaged
        assert ask(own, "/state")[0] == 200


def test_remarks_go_through_no_link(own, tmp_path):
    elsewhere = tmp_path / "elsewhere.json"
    elsewhere.write_text("[]")
    folder = own.shelf[0].source
    for name in ("times.json", "times.json.new"):
        (folder / name).symlink_to(elsewhere)
    assert remark(own) == 200 and elsewhere.read_text() == "[]"
    assert len(own.shelf[0].remarks()) == 1 and not (folder / "times.json").is_symlink()


def said(server, *lines):
    with socket.create_connection(("127.0.0.1", server.server_port), timeout=HANG_S) as connection:
        connection.sendall("\r\n".join([*lines, f"Cookie: {server.cookie}", "", ""]).encode())
        return connection.recv(100).split()[1]


def test_one_host_only_and_no_other_in_the_path(served):
    host = f"Host: 127.0.0.1:{served.server_port}"
    assert said(served, "GET /state HTTP/1.1", host, "Connection: close") == b"200"
    assert said(served, "GET /state HTTP/1.1", host, "Host: example.org") == b"403"
    assert said(served, "GET http://example.org/state HTTP/1.1", host) == b"403"
    assert said(served, "GET /state HTTP/1.1") == b"403"


def test_a_connection_that_breaks_off_is_nothing_to_tell(served, capfd, monkeypatch):
    begun, ended = [], []

    def begin(request, address):
        begun.append(request)
        type(served).process_request(served, request, address)

    def end(request):
        type(served).shutdown_request(served, request)
        ended.append(request)

    monkeypatch.setattr(served, "process_request", begin)
    monkeypatch.setattr(served, "shutdown_request", end)
    for _ in range(5):
        connection = socket.create_connection(("127.0.0.1", served.server_port), timeout=HANG_S)
        request = f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{served.server_port}\r\nCookie: {served.cookie}\r\n\r\n"
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        connection.sendall(request.encode())
        connection.close()
    assert ask(served, "/state", Connection="close")[0] == 200  # accepted in turn: the five were before it
    limits.until(lambda: all(request in ended for request in begun))
    assert len(begun) > 1 and capfd.readouterr().err == ""


@pytest.mark.parametrize(
    "at", ["start=-1e300&end=1e300", "start=1e300&end=1e301", "start=-9e9&end=-8e9", "start=5&end=5"]
)
def test_windows_beyond_the_drive(served, at):
    assert ask(served, f"/window?drive=0&session=1&{at}&width=1200")[0] == 200
    spans = at.replace("start=", "").replace("&end=", ":")
    status, body = ask(served, f"/export?drive=0&session=1&spans={spans}")
    assert status == 200 and body.startswith(b"time_s,")


@pytest.mark.parametrize("time_s", ["-1e300", "1e300", "-5"])
def test_rows_beyond_the_drive_are_the_nearest(served, time_s):
    told = json.loads(ask(served, f"/row?drive=0&session=1&time={time_s}")[1])
    first, last = served.shelf[0].drive.sessions[0].frame()["time_s"].iloc[[0, -1]]
    assert told["time_s"] == pytest.approx(last if time_s == "1e300" else first)


@pytest.mark.parametrize("name", ["..", ".hidden", "a%00b.rpl", "a" * 3000 + ".rpl", ""])
def test_dropped_names_that_mean_nothing(served, name):
    assert ask(served, f"/drop?name={name}", "POST", b"abc")[0] == 400


def test_dropped_file_becomes_a_drive_and_junk_does_not(own):
    ring = (CARD / "pulls.rpl").read_bytes()
    status, body = ask(own, "/drop?name=..%2F..%2Fpulls.rpl", "POST", ring)
    assert (status, json.loads(body)) == (200, {"drive": 1})
    assert own.shelf[1].source.name == "pulls.rpl" and own.dropped in own.shelf[1].source.parents
    status, body = ask(own, "/drop?name=photo.jpg", "POST", b"\xff\xd8\xff" * 1000)
    assert status == 422 and b"what to do" in body
    assert len(own.shelf) == 2


def test_pyramid_against_plain_search():
    random = np.random.default_rng(5)
    rows = np.delete(np.arange(3000, 603_000), slice(1000, 5000))
    values = random.normal(size=(1, len(rows))).astype(np.float32)
    values[0, random.integers(0, len(rows), 500)] = np.nan
    pyramid = Pyramid(1, 3000, 603_000)
    pieces = [p for p in np.split(np.arange(len(rows)), np.flatnonzero(np.diff(rows // 16 * 16 // 70_000)) + 1)]
    for at in random.permutation(len(pieces)):  # a piece ends with a bucket
        piece = pieces[at]
        pyramid.put(*grouped(rows[piece], values[:, piece], values[:, piece], pyramid.base))
    for first, end, bucket in ((0, 10**9, 512), (3000, 23_000, 16), (3333, 9999, 32), (260_000, 264_000, 256)):
        numbers, low, high = pyramid.window(first, end, bucket)
        there = values[0, (rows >= first) & (rows < end)]
        assert np.nanmin(low) <= np.nanmin(there) and np.nanmax(high) >= np.nanmax(there)
        for number in random.choice(numbers, 20):
            inside = values[0, rows // bucket == number]
            at = int(np.flatnonzero(numbers == number)[0])
            if np.isnan(low[0, at]):
                assert not np.isfinite(inside).any()
            else:
                assert (low[0, at], high[0, at]) == (np.nanmin(inside), np.nanmax(inside))


def test_pyramid_of_a_very_long_session_stays_small():
    pyramid = Pyramid(2, 0, 400_000_000)
    assert pyramid.bytes < 2 * 40e6
    pyramid.put(np.array([5, 1_000_000]), np.ones((2, 2), np.float32), np.ones((2, 2), np.float32))
    numbers, low, _ = pyramid.window(0, 400_000_000, 1 << 22)
    assert np.isfinite(low[0]).sum() == 2 and len(numbers) == -(-400_000_000 // (1 << 22))


def test_runs():
    assert runs_of(np.array([3, 4, 5, 9, 11, 12])) == [[3, 3], [9, 1], [11, 2]]
    assert runs_of(np.array([], int)) == []


def test_long_session_shows_a_glance_first_and_all_of_it_later(drive, monkeypatch):
    """A long session is stood in for by calling a short one long."""
    from ringpull.view import reader, shown

    monkeypatch.setattr(shown, "SMALL", 100)
    monkeypatch.setattr(shown, "GLANCE", 9)
    session, frame = drive.sessions[0], drive.sessions[0].frame()
    names = ["map_kpa", "engine_speed_rpm"]
    one = shown.Shown(session, names)
    one.glance()
    seen = one.window(0, 1000, 100).samples
    assert not one.done and np.isfinite(seen[0]).any() and np.nanmax(seen[0]) <= frame["map_kpa"].max() * 1.0001
    close, runs, samples, fine = one.window(61.0, 62.0, 500)  # close windows are right at once
    assert fine and close == session.period_s and sum(count for _, count in runs) == samples.shape[1] >= 200
    for rows, *buckets in reader.buckets(session, names):
        one.pyramid.put(*buckets)
        one.read = rows
    assert one.done
    seen = one.window(0, 1000, 100).samples
    assert np.nanmax(seen[0]) == np.float32(frame["map_kpa"].max())
    assert np.nanmin(seen[1]) == np.float32(frame["engine_speed_rpm"].min())


def test_rows_of_a_stretch_are_those_of_the_whole(drive):
    session = drive.sessions[0]
    whole = session.table()
    for start_s, end_s in ((0.0, 3.0), (61.0, 64.0), (132.0, 200.0), (300.0, 310.0)):
        part = session.between(start_s, end_s)
        keep = (whole["time_s"] >= start_s - 1e-9) & (whole["time_s"] < end_s - 1e-9)
        for name, values in whole.items():
            assert np.allclose(part[name], values[keep], rtol=1e-9, equal_nan=True), name


def test_page_in_a_browser(own, browser, drive):
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    wrong = []
    page.on("console", lambda message: wrong.append(message.text))
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(own.url)
    page.wait_for_selector("#panels[data-ready]")
    until(page, "document.getElementById('reading').textContent.startsWith('attention: ')")
    page.select_option("#window", "2")
    until(page, "traces.state.shown.period_s === 0.005")
    page.locator("#panels").focus()
    page.keyboard.press("ArrowRight")
    until(page, "document.querySelector('.value').textContent !== ''")
    at = page.evaluate("traces.state.time")
    frame = drive.sessions[0].frame()
    row = int(np.abs(frame["time_s"] - at).argmin())
    shown = page.locator('.value[data-column="map_kpa"]').inner_text()
    assert float(shown.split()[0]) == pytest.approx(frame["map_kpa"].iloc[row], abs=0.06)
    page.fill("#remark", "<b>here</b>")
    page.keyboard.press("Enter")
    page.wait_for_selector("#remarks li")
    assert page.locator("#remarks b").count() == 0 and "<b>here</b>" in page.locator("#remarks li").inner_text()
    for number in (1, 3):
        page.select_option("#over", f"0/1/{number}")
    until(page, "traces.state.overs.length === 2 && traces.state.overs.every((one) => one.shown)")
    starts = [p["start_s"] for p in own.shelf[0].spans if p["kind"] == "pull"]
    shifts = page.evaluate("traces.state.overs.map((one) => one.shift)")
    assert shifts == pytest.approx([starts[1] - starts[0], starts[1] - starts[2]], abs=1e-3)  # start on start
    assert page.locator("#laid li").count() == 2
    page.select_option("#axis", "speed")
    until(page, "document.getElementById('panels').dataset.mode === 'speed'")
    page.locator("#laid button").first.click()
    until(page, "traces.state.overs.length === 1 && traces.state.overs[0].shown")
    assert page.locator("#laid li").inner_text().strip().partition(", square")[0].endswith("/card, pull 3")
    page.set_input_files("#file", str(CARD / "pulls.rpl"))
    page.wait_for_selector('#panels[data-ready="1/1"]')
    assert wrong == []
    page.context.close()


def test_no_answer_waits_for_the_one_before_to_be_acknowledged(served, monkeypatch):
    """Nagle's algorithm off: with it, an answer on a kept connection waits 40 ms."""
    told = []

    def close(request):
        told.append(request.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
        type(served).shutdown_request(served, request)

    monkeypatch.setattr(served, "shutdown_request", close)
    assert ask(served, "/state", Connection="close")[0] == 200
    assert limits.until(lambda: told)[0]


def test_another_user_of_this_machine_is_refused(served):
    """Whoever does not know the token sees nothing and changes nothing."""
    for cookie in ("", "ringpull=1", served.cookie[:-1], f"ringpull_1={served.token}"):
        for path in ("/", "/state", "/known?drive=0", "/report?drive=0", "/nothing", "/?token=", "/?token=x"):
            assert ask(served, path, Cookie=cookie)[0] == 403, (cookie, path)
        assert ask(served, "/remark", "POST", b"{}", Cookie=cookie)[0] == 403
        assert ask(served, "/drop?name=a.rpl", "POST", b"abc", Cookie=cookie)[0] == 403


def test_the_address_becomes_a_cookie_that_no_script_reads(served):
    answer, _ = answered(served, "/" + served.url.partition("/?")[2].join(["?", ""]), Cookie="")
    assert (answer.status, answer.getheader("Location")) == (303, "/")
    told = answer.getheader("Set-Cookie")
    assert told.startswith(served.cookie) and "HttpOnly" in told and "SameSite=Strict" in told
    assert ask(served, "/", Cookie="other=1; " + served.cookie)[0] == 200


@pytest.mark.parametrize("path", ["/", "/state", "/nothing", "/window?drive=0&session=1&start=0&end=1&width=9"])
def test_no_other_page_may_frame_or_embed_an_answer(served, path):
    answer, _ = answered(served, path)
    assert "frame-ancestors 'none'" in answer.getheader("Content-Security-Policy")
    assert answer.getheader("Cross-Origin-Resource-Policy") == "same-origin"
    assert answer.getheader("X-Content-Type-Options") == "nosniff"


def test_a_refused_drop_leaves_nothing_and_all_drops_have_a_limit(own, monkeypatch):
    assert ask(own, "/drop?name=photo.jpg", "POST", b"\xff\xd8\xff" * 1000)[0] == 422
    assert list(own.dropped.iterdir()) == []
    ring = (CARD / "pulls.rpl").read_bytes()
    from ringpull.view import server as view_server

    monkeypatch.setattr(view_server, "MOST_BODY", len(ring) + 100)
    assert ask(own, "/drop?name=pulls.rpl", "POST", ring)[0] == 200
    assert ask(own, "/drop?name=more.rpl", "POST", ring)[0] == 413
    assert len(list(own.dropped.iterdir())) == 1
    monkeypatch.setattr(view_server, "MOST_BODY", 1 << 40)
    monkeypatch.setattr(view_server, "LEAST_FREE", 1 << 62)
    assert ask(own, "/drop?name=more.rpl", "POST", ring)[0] == 413


def test_a_page_that_is_asked_to_end_leaves_nothing(tmp_path):
    card = shutil.copytree(CARD, tmp_path / "card")
    words = [sys.executable, "-m", "ringpull", "view", str(card), "--no-browser", "--json"]
    place = tmp_path / "temporary"
    place.mkdir()
    process = subprocess.Popen(words, stdout=subprocess.PIPE, env=os.environ | {"TMPDIR": str(place)})
    assert "token=" in json.loads(process.stdout.readline())["url"]
    assert list(place.iterdir())
    process.terminate()
    assert process.wait(HANG_S) == 128 + signal.SIGTERM
    assert list(place.iterdir()) == []
