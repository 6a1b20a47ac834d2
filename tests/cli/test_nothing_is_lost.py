"""Nothing of the user's is lost: files in and beside result folders, and finished runs."""

import json

from command_line import RUN, call


def contents(folder):
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def days(folder):
    return [entry["runs"] for entry in json.loads((folder / "out/result.json").read_text())["equipment_sets"]]


FOREIGN = ("my_notes.md", "logbook.csv", "photo.png", "input_licence.docx", "quote_three_packs.pdf", "report.html")


def test_force_replaces_only_what_acreday_wrote(with_result, capsys):
    folder = with_result
    listed = set(json.loads((folder / "out/manifest.json").read_text())["written"])
    assert listed == {path.name for path in (folder / "out").iterdir()} - {"manifest.json"}
    assert call(*RUN, "--runs", "2") == 2
    assert "--force" in capsys.readouterr().err
    for name in FOREIGN:
        (folder / "out" / name).write_text("mine")
    before = contents(folder)
    for option in ("--force", "--resume"):
        assert call(*RUN, "--runs", "2", option) == 2
        said = capsys.readouterr().err
        assert all(name in said for name in FOREIGN)
        assert contents(folder) == before
    for name in FOREIGN:
        (folder / "out" / name).unlink()
    assert call(*RUN, "--runs", "3", "--force") == 0
    assert days(folder) == [3, 3]


def test_a_changed_summary_is_the_users(with_result, capsys):
    folder = with_result
    summary = folder / "out/summary.md"
    summary.write_text(summary.read_text() + "\nTold the neighbour on Friday.\n")
    assert call(*RUN, "--runs", "2", "--force") == 2
    assert "summary.md (changed since it was written)" in capsys.readouterr().err
    assert "neighbour" in summary.read_text()


def test_a_manifest_that_lists_no_files_is_no_licence(with_result, capsys):
    folder = with_result
    path = folder / "out/manifest.json"
    record = json.loads(path.read_text())
    del record["written"]
    path.write_text(json.dumps(record))
    before = contents(folder)
    assert call(*RUN, "--runs", "2", "--force") == 2
    assert "of the scenario 'mine'" in capsys.readouterr().err
    assert contents(folder) == before


def test_reports_quotes_and_figures_are_listed_and_replaced_but_no_others(with_result, capsys):
    folder = with_result
    quote = ("quote", "out", "--equipment", "three_packs", "--customer", "A")
    for command in (("report", "out"), quote, ("figure", "out", "acres", "--format", "pdf")):
        assert call(*command) == 0
        # its own file may be written again
        assert call(*command) == 0, capsys.readouterr().err
    assert call("report", "out", "--out", "mine.toml") == 2
    (folder / "out/report.html").write_text("mine")
    (folder / "quote.html").write_text("mine")
    (folder / "plan.svg").write_text("mine")
    before = contents(folder)
    for command in (
        ("report", "out"),
        (*quote, "--out", "quote.pdf"),
        ("figure", "out", "acres", "--out", "plan"),
        ("explain", "mine.toml", "--markdown", "quote.html"),
        ("explain", "mine.toml", "--json", "mine.toml", "--force"),
        (*RUN, "--runs", "2", "--json", "plan.svg"),
    ):
        capsys.readouterr()
        assert call(*command) == 2, command
        assert "give" in capsys.readouterr().err
        assert contents(folder) == before
    assert call("report", "out", "--force") == 0
    assert call(*RUN, "--runs", "2", "--force") == 0


def test_resume_without_an_unfinished_run_changes_nothing(with_result, capsys):
    before = contents(with_result)
    assert call(*RUN, "--runs", "2", "--resume") == 2
    assert call(*RUN, "--runs", "2", "--resume", "--out", "other") == 2
    assert "no unfinished result is there" in capsys.readouterr().err
    assert contents(with_result) == before


def unfinished(folder, count, monkeypatch):
    """Leave an unfinished result of so many runs of each set, as a kill does while the result is written."""
    from simulator.report import result_folder

    def stop(*_):
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(result_folder, "write_result_folder", stop)
        assert call(*RUN, "--runs", str(count)) == 130


def test_fewer_days_than_are_there_keep_them(folder, capsys, monkeypatch):
    unfinished(folder, 12, monkeypatch)
    capsys.readouterr()
    assert call(*RUN, "--runs", "4", "--resume") == 0
    assert days(folder) == [4, 4]
    assert "16 more finished runs are kept" in capsys.readouterr().err
    # and what is there is gone on with, its own older result replaced
    assert call(*RUN, "--runs", "12", "--resume") == 0
    assert days(folder) == [12, 12]
    assert "24 runs were finished before" in capsys.readouterr().err
    assert sorted(path.name for path in folder.iterdir()) == ["mine.toml", "out"]


def test_a_run_that_goes_on_does_not_replace_a_longer_result(folder, capsys, monkeypatch):
    assert call(*RUN, "--runs", "5") == 0
    (folder / "out").rename(folder / "older")
    unfinished(folder, 3, monkeypatch)
    (folder / "older").rename(folder / "out")
    capsys.readouterr()
    assert call(*RUN, "--runs", "4", "--resume") == 2
    assert "holds a result of 5 runs" in capsys.readouterr().err
    assert days(folder) == [5, 5]
    # of another scenario, it is not replaced either
    assert call(*RUN, "--runs", "9", "--resume", "--set", "product.rate=3 gal/acre") == 2
    assert "made 2" in capsys.readouterr().err
    assert call(*RUN, "--runs", "6", "--resume") == 0
    assert days(folder) == [6, 6]


def test_two_ways_to_one_folder_are_one(folder, monkeypatch):
    (folder / "out").mkdir()
    (folder / "way").mkdir()
    (folder / "way/link").symlink_to(folder / "out")
    unfinished(folder, 3, monkeypatch)
    linked = [("way/link" if part == "out" else part) for part in RUN]
    assert call(*linked, "--runs", "3") == 2
    assert call(*linked, "--runs", "3", "--resume") == 0
    assert days(folder) == [3, 3]
    assert [path.name for path in (folder / "way").iterdir()] == ["link"]
