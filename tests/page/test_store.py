"""The folder: nothing is lost, nothing is written elsewhere, what changed meanwhile is noticed."""

import pytest

from simulator.errors import InputError
from simulator.page.store import ChangedError, Store

TEXT = 'name = "a"\n'


@pytest.fixture
def store(tmp_path):
    (tmp_path / "folder").mkdir()
    return Store(tmp_path / "folder")


def test_scenarios_are_listed_by_customer_without_bin_and_price_list(store):
    store.create("", "own", TEXT)
    key = store.create("Miller", "north", TEXT)
    store.remove(store.create("Miller", "south", TEXT))
    store.write_prices("[costs]\n")
    assert [entry.key for entry in store.entries()] == ["own", key]


@pytest.mark.parametrize(
    "key", ["../outside", "a/b/c", "/etc/passwd", ".hidden", "bin/x", "Miller/../../x", "", "a\0b"]
)
def test_no_key_leads_out_of_the_folder(store, key):
    (store.folder.parent / "outside.toml").write_text(TEXT)
    with pytest.raises(InputError):
        store.read(key)


def test_no_link_leads_out_of_the_folder(store, tmp_path):
    (tmp_path / "secret.toml").write_text(TEXT)
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "x.toml").write_text(TEXT)
    (store.folder / "link.toml").symlink_to(tmp_path / "secret.toml")
    (store.folder / "customer").symlink_to(tmp_path / "elsewhere")
    (store.folder / "bin").symlink_to(tmp_path / "elsewhere")
    for key in ("link", "customer/x"):
        with pytest.raises(InputError):
            store.read(key)
    assert store.entries() == []
    key = store.create("", "own", TEXT)
    with pytest.raises(InputError):
        store.remove(key)
    with pytest.raises(InputError):
        store.write(key, "name = 'b'\n", store.read(key).version)
    assert [path.name for path in (tmp_path / "elsewhere").iterdir()] == ["x.toml"]


def test_what_changed_on_the_disk_is_never_written_over(store):
    key = store.create("Miller", "north", TEXT)
    version = store.read(key).version
    store.path(key).write_text('name = "theirs"\n')
    with pytest.raises(ChangedError):
        store.write(key, 'name = "mine"\n', version)
    with pytest.raises(ChangedError):
        store.undo(key, version)
    assert store.read(key).content == 'name = "theirs"\n'


def test_undo_goes_back_step_by_step_and_no_further(store):
    key = store.create("", "north", TEXT)
    for name in "bcd":
        store.write(key, f'name = "{name}"\n', store.read(key).version)
    for name in "cba":
        store.undo(key, store.read(key).version)
        assert store.read(key).content == f'name = "{name}"\n'
    with pytest.raises(InputError, match="nothing to undo"):
        store.undo(key, store.read(key).version)


def test_a_removed_scenario_lies_in_the_bin(store):
    key = store.create("Miller", "north", TEXT)
    store.remove(key)
    (left,) = (store.folder / "bin").glob("*.toml")
    assert left.read_text() == TEXT
    assert store.entries() == []


def test_names_are_never_taken_from_another(store):
    first = store.create("Miller", "north", TEXT)
    second = store.create("Miller", "north", 'name = "b"\n')
    assert first != second
    third = store.rename(second, "Miller", "north")
    assert store.read(first).content == TEXT
    assert store.read(third).content == 'name = "b"\n'
    with pytest.raises(InputError):
        store.rename(first, "Miller", "../x")
    with pytest.raises(InputError):
        store.create("", "prices", TEXT)


def test_a_scenario_takes_the_files_that_it_names_along(store):
    (store.folder / "land.geojson").write_text("{}")
    (store.folder / "other.geojson").write_text("{}")
    key = store.create("", "north", '[field_file]\npath = "land.geojson"\n')
    store.rename(key, "Miller", "north")
    assert sorted(path.name for path in (store.folder / "Miller").iterdir()) == ["land.geojson", "north.toml"]


def test_a_file_that_is_dropped_twice_is_kept_once_and_takes_no_name(store):
    key = store.create("Miller", "north", TEXT)
    assert store.keep_file(key, "../../My land!.GeoJSON", b"{}") == "My_land.geojson"
    assert store.keep_file(key, "My land.geojson", b"{}") == "My_land.geojson"
    assert store.keep_file(key, "My land.geojson", b"{1}") == "My_land_2.geojson"
