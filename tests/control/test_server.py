"""The control socket with good, bad, slow and absent clients."""

import contextlib
import json
import socket
import stat
import threading

import pytest

from monitor.control.client import ask
from monitor.control.server import MOST_CLIENTS
from monitor.control.wire import LONGEST_REQUEST
from monitor.desk.view import Reply
from monitor.errors import (
    ConfigError,
    MonitorError,
    RefusedError,
    StoreFullError,
    UnreachableError,
    UsageError,
)
from tests.control.conftest import until


def connect(path):
    talk = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    talk.settimeout(10)
    talk.connect(str(path))
    return talk


def hear(talk):
    heard = b""
    while part := talk.recv(65536):
        heard += part
    return json.loads(heard)


def say(path, line):
    with connect(path) as talk:
        talk.sendall(line)
        return hear(talk)


def test_a_request_and_its_reply_are_one_line_each(serve):
    """Program and daemon agree on JSON with a newline."""
    served = serve()

    reply = say(
        served.path,
        b'{"do": "now", "args": {"x": [1, 2]}}\n'.replace(b"[1, 2]", b'["a"]'),
    )

    assert reply == {"ok": True, "result": {"do": "now"}, "error": "", "exit": 0}
    assert served.asked[0].args == {"x": ["a"]}


@pytest.mark.parametrize(
    "line", [b'{"do":"now"}', b'{"do":"now"}\nmore', b'{"do":"now"}\r\n']
)
def test_a_client_that_ends_its_line_differently_is_heard(serve, line):
    """A hang-up ends a line too; what follows a line is left alone."""
    served = serve()

    with connect(served.path) as talk:
        talk.sendall(line)
        talk.shutdown(socket.SHUT_WR)
        reply = hear(talk)

    assert reply["result"] == {"do": "now"}


@pytest.mark.parametrize(
    "line",
    [
        b"\n",
        b"hello\n",
        b"\xff\xfe\x00\n",
        b"null\n",
        b"[]\n",
        b"{}\n",
        b'{"do": 5}\n',
        b'{"do": "now", "args": {"x": {"deep": 1}}}\n',
        b'{"do": "now", "args": {"x": NaN}}\n',
        b"[" * 100_000 + b"\n",
    ],
)
def test_garbage_gets_one_clear_error_and_harms_nobody(serve, line):
    """The reply tells the form; the next request is answered."""
    served = serve()

    reply = say(served.path, line)

    assert (reply["ok"], reply["exit"]) == (False, 2)
    assert reply["error"].startswith("no request: ")
    assert "send" in reply["error"]
    assert ask(served.path, "now", {}) == {"do": "now"}


def test_a_line_without_end_is_refused_at_its_bound(serve):
    """Memory stays bounded, and the client hears why."""
    served = serve()

    reply = say(served.path, b"x" * (LONGEST_REQUEST + 65536) + b"\n")

    assert "longer than 1048576 bytes" in reply["error"]
    assert served.asked == []


def test_our_own_client_hears_that_its_request_is_too_long(serve):
    """Not "the daemon went away"."""
    served = serve()

    with pytest.raises(UsageError, match="longer than 1048576 bytes"):
        ask(served.path, "now", {"x": "y" * 2 * LONGEST_REQUEST})


def test_a_slow_client_is_told_so_and_holds_up_nobody(serve):
    """Its time is bounded; others are served meanwhile."""
    served = serve(patience=0.5)

    with connect(served.path) as slow:
        slow.sendall(b'{"do": "n')
        meanwhile = ask(served.path, "now", {}, timeout=0.4)
        reply = hear(slow)

    assert meanwhile == {"do": "now"}
    assert reply["error"] == "no whole line came within 0.5 s"


def test_a_client_that_never_fetches_is_dropped(serve):
    """A reply larger than the buffers waits for its patience, not for ever."""
    served = serve(patience=0.3)
    served.handle = lambda _: Reply(ok=True, result={"x": "y" * 8_000_000})

    with connect(served.path) as deaf:
        deaf.sendall(b'{"do": "now"}\n')
        dropped = until(lambda: not served.server._clients and served.asked)

    assert dropped


def test_a_large_reply_arrives_whole(serve):
    """A house of many tubs is told in one line."""
    served = serve()
    served.handle = lambda _: Reply(ok=True, result={"x": "y" * 8_000_000})

    result = ask(served.path, "now", {})

    assert len(result["x"]) == 8_000_000


def test_a_full_queue_of_clients_is_waited_for(tmp_path):
    """A socket whose queue is full says "try again" at once: the client does."""
    path = tmp_path / "control.sock"
    with contextlib.ExitStack() as stack:
        full = stack.enter_context(socket.socket(socket.AF_UNIX))
        full.bind(str(path))
        full.listen(0)
        waiting = []
        while True:
            client = stack.enter_context(socket.socket(socket.AF_UNIX))
            client.settimeout(0)
            try:
                client.connect(str(path))
            except BlockingIOError:
                break
            waiting.append(client)
        got = []
        thread = threading.Thread(target=lambda: got.append(ask(path, "now", {})))
        thread.start()
        for _ in waiting:
            full.accept()[0].close()
        talk, _ = full.accept()
        with talk:
            talk.recv(1 << 16)
            talk.sendall(b'{"ok":true,"result":{"do":"now"}}\n')
            thread.join(10)

    assert got == [{"do": "now"}]


def test_many_clients_at_once_are_all_answered(serve):
    """More than it holds at a time: the rest waits its turn."""
    served = serve()
    got = []

    def one(number):
        got.append(ask(served.path, f"n{number}", {})["do"])

    threads = [threading.Thread(target=one, args=(n,)) for n in range(2 * MOST_CLIENTS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(10)

    assert sorted(got) == sorted(f"n{n}" for n in range(2 * MOST_CLIENTS))


def test_as_many_idle_clients_as_fit_shut_nobody_out_for_long(serve):
    """They time out, and the waiting one is served."""
    served = serve(patience=0.3)
    idle = [connect(served.path) for _ in range(MOST_CLIENTS)]

    result = ask(served.path, "now", {})

    assert result == {"do": "now"}
    for talk in idle:
        talk.close()


@pytest.mark.parametrize(
    ("error", "code"),
    [(UsageError, 2), (RefusedError, 1), (UnreachableError, 69), (StoreFullError, 69)],
)
def test_what_the_handler_raises_comes_to_the_client(serve, error, code):
    """Text and exit code, in one line."""
    served = serve()

    def fail(_):
        raise error("no\nroom")

    served.handle = fail

    with pytest.raises(MonitorError, match="no room") as caught:
        ask(served.path, "now", {})
    assert caught.value.exit_code == code


def test_an_unusual_exit_code_is_kept(serve):
    """78 comes through as 78."""
    served = serve()
    served.handle = lambda _: Reply(ok=False, error="wrong", exit=78)

    with pytest.raises(MonitorError) as caught:
        ask(served.path, "now", {})
    assert caught.value.exit_code == 78


def test_a_bug_in_a_request_does_not_end_the_socket(serve, caplog):
    """It is logged whole, told in one line, and the next is answered."""
    served = serve()
    served.handle = lambda _: {}["missing"]

    with pytest.raises(MonitorError, match="the daemon failed: KeyError"):
        ask(served.path, "now", {})
    served.handle = lambda _: Reply(ok=True, result={"x": {1j}})
    with pytest.raises(MonitorError, match="the daemon failed"):
        ask(served.path, "now", {})

    assert "a request failed" in caplog.text
    served.handle = lambda _: Reply(ok=True)
    assert ask(served.path, "now", {}) == {}


def test_the_group_may_speak_to_it_and_nobody_else(serve):
    """Mode 0660."""
    served = serve()

    assert stat.S_IMODE(served.path.stat().st_mode) == 0o660


def test_it_beats_while_it_idles_and_takes_its_socket_along(serve):
    """The watchdog sees it live; no file is left behind."""
    served = serve()

    beaten = until(lambda: served.beats >= 2)
    served.end()

    assert beaten
    assert not served.path.exists()


def test_a_socket_left_by_a_killed_daemon_is_replaced(serve, tmp_path):
    """Nobody listens there, so it is removed."""
    path = tmp_path / "control.sock"
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as dead:
        dead.bind(str(path))

    served = serve(path)

    assert ask(served.path, "now", {}) == {"do": "now"}


def test_a_socket_on_which_somebody_listens_is_left_alone(serve):
    """A second daemon does not take the first one's place."""
    first = serve()

    with pytest.raises(UnreachableError, match="another daemon listens"):
        serve(first.path)

    assert ask(first.path, "now", {}) == {"do": "now"}


def test_a_file_in_the_way_is_not_removed(serve, tmp_path):
    """It may be somebody's work."""
    path = tmp_path / "control.sock"
    path.write_text("keep me", encoding="utf-8")

    with pytest.raises(ConfigError, match="exists and is no socket"):
        serve(path)

    assert path.read_text(encoding="utf-8") == "keep me"


def test_a_path_that_cannot_hold_a_socket_is_a_configuration_error(serve, tmp_path):
    """It names the path and the bound."""
    with pytest.raises(ConfigError, match="at most 100 characters"):
        serve(tmp_path / ("x" * 120))


def test_without_a_daemon_the_client_says_how_to_start_one(tmp_path):
    """Exit code 69, one line, the path."""
    path = tmp_path / "control.sock"

    with pytest.raises(UnreachableError) as caught:
        ask(path, "now", {})

    assert caught.value.exit_code == 69
    assert str(caught.value) == (
        f"the daemon is not running, or not reachable at {path}: start it with"
        " `rearing-monitor run`, or the service that runs it"
    )


def test_without_a_path_the_client_says_which_setting_is_missing():
    """Nothing is guessed."""
    with pytest.raises(UnreachableError, match="set REARING_SOCKET"):
        ask(None, "now", {})


def test_a_daemon_that_hangs_is_told_apart_from_one_that_is_not_there(serve):
    """The client's patience is bounded too."""
    served = serve()
    free = threading.Event()
    served.handle = lambda _: Reply(ok=free.wait(5))

    with pytest.raises(UnreachableError, match=r"did not answer within 0\.2 s"):
        ask(served.path, "now", {}, timeout=0.2)
    free.set()


def test_a_daemon_that_dies_before_it_answers_is_told(tmp_path):
    """An empty reply is no reply; neither is another program's."""
    path = tmp_path / "control.sock"
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as listener:
        listener.bind(str(path))
        listener.listen(2)

        def strange(answer):
            talk, _ = listener.accept()
            with talk:
                talk.recv(65536)
                talk.sendall(answer)

        for answer, part in ((b"", "went away"), (b"HTTP/1.1 400\n", "makes no sense")):
            thread = threading.Thread(target=strange, args=(answer,))
            thread.start()
            with pytest.raises(UnreachableError, match=part):
                ask(path, "now", {})
            thread.join(5)
