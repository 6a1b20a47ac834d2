"""Nothing foreign steers a terminal: whatever is printed, to a terminal, a pipe or a log, passes one cleaning place."""

import contextlib
import io
import json
import logging
import os
import pty
import sys

import click
import pytest
from command_line import LOUD, call, started
from hypothesis import given
from hypothesis import strategies as st

from simulator.clean import CleanStream, clean_output, visible
from simulator.scenario.starter import starter_text

EVIL = "\x1b[2J\x1b]0;owned\x07\u202eevil\x9b31m"


def assert_clean(text):
    assert text
    assert not {sign for sign in text if not sign.isprintable()} - {"\n", "\t"}, text


def says(capsys, *arguments):
    call(*arguments)
    text = "".join(capsys.readouterr())
    assert_clean(text)
    return text


@pytest.mark.parametrize(
    "arguments",
    [
        ("check", f"{EVIL}.toml"),
        ("check", "a\nacreday: sound.toml"),
        (EVIL,),
        ("run", "mine.toml", "--runs", EVIL),
        ("run", "mine.toml", "--out", f"mine.toml/{EVIL}"),
        ("check", "mine.toml", "--set", f"{EVIL}={EVIL}"),
        ("check", "mine.toml", "--fields", f"{EVIL}.geojson"),
        ("figure", "mine.toml", EVIL),
        ("day", "mine.toml", "--equipment", EVIL),
        ("new", f"{EVIL}/x.toml"),
        ("report", EVIL),
    ],
)
def test_words_of_the_command_line(folder, capsys, arguments):
    said = says(capsys, *arguments)
    assert not any(line.startswith("acreday: sound") for line in said.splitlines())


def test_names_of_files_and_columns(folder, capsys):
    (folder / f"{EVIL}.toml").write_text(starter_text("mine"), encoding="utf-8")
    (folder / f"{EVIL}.csv").write_text(f"{EVIL},b\n{EVIL},2\n", encoding="utf-8")
    assert "sound" in says(capsys, "check", f"{EVIL}.toml")
    assert "written" in says(capsys, "new", f"{EVIL}2.toml")
    assert "task" in says(capsys, "fit", f"{EVIL}.toml", f"{EVIL}.csv")
    text = starter_text("mine").replace(
        "[weather]", f'[weather.file]\npath = "{EVIL.encode("unicode_escape").decode()}"'
    )
    (folder / "weather.toml").write_text(text, encoding="utf-8")
    says(capsys, "check", "weather.toml")


def test_sets_and_keys_of_a_result(with_result, capsys):
    folder = with_result
    (folder / "out").rename("made")
    for path in (*folder.glob("made/*.json"), *folder.glob("made/*.csv")):
        name = json.dumps(EVIL)[1:-1] if path.suffix == ".json" else EVIL
        path.write_text(path.read_text(encoding="utf-8").replace("three_packs", name), encoding="utf-8")
    assert "report" in says(capsys, "report", "made")
    assert "several sets" in says(capsys, "quote", "made", "--customer", EVIL)
    says(capsys, "figure", "made", "timeline", "--equipment", f"{EVIL}x")
    document = json.loads((folder / "made/result.json").read_text())
    document["equipment_sets"][0]["time_share"] = {EVIL: EVIL}
    (folder / "made/result.json").write_text(json.dumps(document))
    assert "time_share" in says(capsys, "report", "made")
    (folder / "made/runs.csv").write_text(f"{EVIL}\n1\n")
    says(capsys, "report", "made")


def test_libraries_that_log_and_echo(capsys):
    with clean_output():
        handler = logging.StreamHandler()
        logging.getLogger("foreign").addHandler(handler)
        logging.getLogger("foreign").error(EVIL)
        click.echo(EVIL)
        click.echo(EVIL, err=True, color=True)
        click.UsageError(EVIL).show()
        sys.stdout.write(EVIL)
        logging.getLogger("foreign").removeHandler(handler)
    assert_clean("".join(capsys.readouterr()))


@given(st.text(max_size=40))
def test_any_text(text):
    shown = visible(text)
    assert not {sign for sign in shown if not sign.isprintable() and not sign.isspace()}
    assert "\x1b" not in shown
    assert visible(shown) == shown
    if text.isprintable():
        assert shown == text


def test_what_a_stream_cannot_encode_is_written_out():
    raw = io.BytesIO()
    stream = CleanStream(io.TextIOWrapper(raw, "ascii"))
    stream.write("Größe \udcff\x1b")
    stream.flush()
    assert raw.getvalue() == rb"Gr\xf6\xdfe \udcff\x1b"


def test_on_a_terminal_only_our_own_codes_arrive(folder):
    master, slave = pty.openpty()
    environment = {**os.environ, "TERM": "xterm"}
    environment.pop("NO_COLOR", None)
    running = started(*LOUD, "--runs", "2", "--out", f"out{EVIL}", stdout=slave, stderr=slave, env=environment)
    os.close(slave)
    seen = b""
    with contextlib.suppress(OSError):  # the terminal is gone when the process is
        while part := os.read(master, 4096):
            seen += part
    assert running.wait() == 0, seen
    text = seen.decode()
    for code in ("\x1b[0m", "\x1b[1m", "\x1b[2m", "\x1b[36m", "\r"):
        assert code in text
        text = text.replace(code, "")
    assert_clean(text)
    assert "owned" in text
