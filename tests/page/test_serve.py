"""The command: it starts, says where it is, answers, and ends by Ctrl-C without a trace."""

import re
import signal
import subprocess
import sys
import urllib.request

import pytest
from command_line import call

from simulator.errors import InputError
from simulator.page.serve import hosts_of, open_socket


@pytest.fixture
def running(tmp_path):
    process = subprocess.Popen(
        [sys.executable, "-m", "simulator.cli", "page", str(tmp_path), "--no-browser", "--port", "0"],
        stderr=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    yield process
    process.kill()


def test_it_starts_answers_and_ends(running, tmp_path):
    line = running.stderr.readline()
    address = re.search(r"http://127\.0\.0\.1:\d+/\?secret=[a-z0-9-]{19}", line)[0]
    with urllib.request.urlopen(address) as answer:
        assert answer.status == 200
        assert "HttpOnly" in answer.headers["set-cookie"]
    running.send_signal(signal.SIGINT)
    stdout, stderr = running.communicate(timeout=30)
    assert running.returncode == 0
    assert "Traceback" not in stderr
    assert stdout == ""
    assert list(tmp_path.iterdir()) == []


def test_names_by_which_it_may_be_called():
    assert hosts_of("127.0.0.1", 8380) == {"127.0.0.1:8380", "localhost:8380"}
    assert "10.1.2.3:1" in hosts_of("10.1.2.3", 1)
    assert {"127.0.0.1:1", "localhost:1"} < hosts_of("0.0.0.0", 1)
    assert not any(name.startswith("0.0.0.0") for name in hosts_of("127.0.0.1", 1))


def test_bad_options_are_said(tmp_path, capsys):
    assert call("page", str(tmp_path / "none" / "jobs"), "--no-browser") == 2
    assert "is no folder" in capsys.readouterr().err
    taken = open_socket("127.0.0.1", 0)
    with pytest.raises(InputError, match="--port"):
        open_socket("127.0.0.1", taken.getsockname()[1])
    taken.close()
    with pytest.raises(InputError, match="--host"):
        open_socket("no.such.host.invalid", None)
