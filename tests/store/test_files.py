"""Files named by their hash are whole or not there."""

import os
import threading
from hashlib import sha256
from pathlib import Path

import pytest

from webapp.store.errors import DatabaseDamaged, DiskFailed, DiskFull, FolderNotWritable
from webapp.store.files import HashedFiles

DATA = b"%PDF- sealed"


def names(folder: Path) -> list[str]:
    return [path.name for path in folder.rglob("*") if path.is_file()]


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    files = HashedFiles(tmp_path)
    digest = files.write(DATA)
    assert digest == sha256(DATA).hexdigest()
    assert files.read(digest) == DATA
    assert files.write(DATA) == digest
    assert names(tmp_path) == [digest]


@pytest.mark.parametrize(
    ("number", "error"),
    [(28, DiskFull), (5, DiskFailed), (13, FolderNotWritable)],
    ids=["full", "failed", "forbidden"],
)
def test_a_write_that_fails_leaves_nothing_under_the_final_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, error: type[Exception]
) -> None:
    files = HashedFiles(tmp_path)

    def fail(_: int) -> None:
        raise OSError(number, os.strerror(number))

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", fail)
        with pytest.raises(error):
            files.write(DATA)
    assert names(tmp_path) == []
    assert files.read(files.write(DATA)) == DATA


def test_the_file_is_flushed_before_it_gets_its_name_and_the_folder_after(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    order: list[str] = []
    flush, rename = os.fsync, Path.rename
    monkeypatch.setattr(os, "fsync", lambda handle: (order.append("flush"), flush(handle))[1])
    monkeypatch.setattr(Path, "rename", lambda self, to: (order.append("rename"), rename(self, to))[1])
    HashedFiles(tmp_path).write(DATA)
    assert order[:3] == ["flush", "rename", "flush"]


def test_the_same_bytes_brought_twice_at_once_are_kept_for_both(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    files, flush, found = HashedFiles(tmp_path), os.fsync, list[str]()

    def second_comes_meanwhile(handle: int) -> None:
        monkeypatch.setattr(os, "fsync", flush)
        second = threading.Thread(target=lambda: found.append(files.write(DATA)))
        second.start()
        second.join()
        flush(handle)

    monkeypatch.setattr(os, "fsync", second_comes_meanwhile)
    assert [files.write(DATA)] == found
    assert files.read(found[0]) == DATA
    assert names(tmp_path) == found


def test_a_changed_or_lost_file_is_not_handed_out(tmp_path: Path) -> None:
    files = HashedFiles(tmp_path)
    digest = files.write(DATA)
    files.path(digest).write_bytes(DATA + b"x")
    with pytest.raises(DatabaseDamaged):
        files.read(digest)
    files.remove(digest)
    with pytest.raises(DatabaseDamaged):
        files.read(digest)
    assert not files.is_whole(digest)


def test_what_is_written_again_takes_the_place_of_a_damaged_file(tmp_path: Path) -> None:
    files = HashedFiles(tmp_path)
    digest = files.write(DATA)
    files.path(digest).write_bytes(DATA[:3])
    assert files.write(DATA) == digest
    assert files.read(digest) == DATA
