"""Nothing foreign steers a terminal: whatever is printed, to a terminal, a pipe or a log, passes one cleaning place."""

from __future__ import annotations

import io
import json
import logging
import os
import pty
import subprocess
import sys
from pathlib import Path

import click
import pytest
from hypothesis import given
from hypothesis import strategies as st
from stored_support import write_folder

from simulator.clean import CleanStream, clean_output, visible
from simulator.cli import main
from simulator.scenario.starter import starter_text

EVIL = "\x1b[2J\x1b]0;owned\x07\u202eevil\x9b31m"
ACREDAY = str(Path(sys.executable).parent / "acreday")


def assert_clean(text: str) -> None:
    assert text
    assert not {sign for sign in text if not sign.isprintable()} - {"\n", "\t"}, text


def says(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    with pytest.raises(SystemExit):
        main(list(arguments))
    text = "".join(capsys.readouterr())
    assert_clean(text)
    return text


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


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
def test_words_of_the_command_line(
    folder: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...]
) -> None:
    (folder / "mine.toml").write_text(starter_text("mine"), encoding="utf-8")
    said = says(capsys, *arguments)
    assert not any(line.startswith("acreday: sound") for line in said.splitlines())


def test_names_of_files_and_columns(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
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


def test_sets_and_keys_of_a_result(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_folder(folder / "made", {"two_packs": EVIL})
    assert "report" in says(capsys, "report", "made")
    assert "several sets" in says(capsys, "quote", "made", "--customer", EVIL)
    says(capsys, "figure", "made", "timeline", "--equipment", f"{EVIL}x")
    document = json.loads((folder / "made/result.json").read_text())
    document["equipment_sets"][0]["time_share"] = {EVIL: EVIL}
    (folder / "made/result.json").write_text(json.dumps(document))
    assert "time_share" in says(capsys, "report", "made")
    (folder / "made/runs.csv").write_text(f"{EVIL}\n1\n")
    says(capsys, "report", "made")


def test_libraries_that_log_and_echo(capsys: pytest.CaptureFixture[str]) -> None:
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
def test_any_text(text: str) -> None:
    shown = visible(text)
    assert not {sign for sign in shown if not sign.isprintable() and not sign.isspace()}
    assert "\x1b" not in shown
    assert visible(shown) == shown
    if text.isprintable():
        assert shown == text


def test_what_a_stream_cannot_encode_is_written_out() -> None:
    raw = io.BytesIO()
    stream = CleanStream(io.TextIOWrapper(raw, "ascii"))
    stream.write("Größe \udcff\x1b")
    stream.flush()
    assert raw.getvalue() == rb"Gr\xf6\xdfe \udcff\x1b"


def test_on_a_terminal_only_our_own_codes_arrive(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(starter_text("mine"), encoding="utf-8")
    master, slave = pty.openpty()
    arguments = [
        "run",
        "mine.toml",
        "--runs",
        "2",
        "--one-more-runs",
        "0",
        "--set",
        "day.last_landing=09:00",
        "--set",
        "work_days=1",
    ]
    arguments += ["--out", f"out{EVIL}"]
    environment = {**os.environ, "TERM": "xterm"}
    environment.pop("NO_COLOR", None)
    process = subprocess.Popen([ACREDAY, *arguments], cwd=tmp_path, stdout=slave, stderr=slave, env=environment)
    os.close(slave)
    seen = b""
    while True:
        try:
            part = os.read(master, 4096)
        except OSError:
            break
        if not part:
            break
        seen += part
    assert process.wait() == 0, seen
    text = seen.decode()
    for code in ("\x1b[0m", "\x1b[1m", "\x1b[2m", "\x1b[36m", "\r"):
        assert code in text
        text = text.replace(code, "")
    assert_clean(text)
    assert "owned" in text
