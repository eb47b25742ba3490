"""Photos: picked by time, kept small without place data, missed when they are gone."""

from __future__ import annotations

import io
import os
from pathlib import Path

import pytest
from PIL import Image

from diag.ask import photos
from diag.ask.forms_call import photo_form
from diag.call.desk import CallDesk, Desk
from diag.errors import UsageError
from diag.knowledge.base import Knowledge
from diag.reason.judge import Engine
from diag.record.kinds import PhotoTaken
from diag.store.open import open_store


@pytest.fixture
def call(small: Knowledge, tmp_path: Path) -> CallDesk:
    """A stored call."""
    store = open_store(tmp_path / "calls.db")
    return Desk(Engine(small), store, store.desk_id()).new_call("site")


def picture(path: Path, when: float, size: tuple[int, int] = (3000, 2000)) -> Path:
    """Make a picture with place data in it, taken at a time."""
    image = Image.new("RGB", size, "green")
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (51.0, 30.0, 0.0)}  # GPS
    exif[0x010F] = "some camera"
    image.save(path, exif=exif)
    os.utime(path, (when, when))
    return path


def test_kept_small_and_without_place(call: CallDesk, tmp_path: Path) -> None:
    """The kept copy is at most 1,600 pixels wide, holds no data on place or camera, and has the recorded hash."""
    event = photos.take(call, picture(tmp_path / "seal [red].jpg", 1000.0), "seal, row 7")
    folder = photos.folder_of(call)
    assert folder is not None
    kept = folder / photos.kept_name(event.body["sha256"])
    with Image.open(kept) as image:
        assert max(image.size) == photos.LONGEST_SIDE
        assert dict(image.getexif()) == {}
    assert photos.missing(call) == []
    assert call.text_of("photo", "file_name") == "seal [red].jpg"


def test_a_gone_or_changed_picture_is_said(call: CallDesk, tmp_path: Path) -> None:
    """Missing by its name, in the form too."""
    event = photos.take(call, picture(tmp_path / "seal.jpg", 1000.0))
    folder = photos.folder_of(call)
    assert folder is not None
    (folder / photos.kept_name(event.body["sha256"])).write_bytes(b"other")
    assert photos.missing(call) == ["seal.jpg"]
    assert any("seal.jpg" in str(f.value) for f in photo_form(call).fields)


def test_a_folder_is_remembered_and_its_newest_picked_by_number(call: CallDesk, tmp_path: Path) -> None:
    """Naming a folder once offers its pictures, newest first."""
    folder = tmp_path / "camera"
    folder.mkdir()
    for n, name in enumerate(("old.jpg", "new.jpg")):
        picture(folder / name, 1000.0 + n, (40, 30))
    with pytest.raises(UsageError, match="2 pictures"):
        photo_form(call).record(call, {"file": str(folder)})
    form = photo_form(call)
    recent = next(f for f in form.fields if f.name == "recent")
    assert [words.split()[0] for _, words in recent.choices[1:]] == ["new.jpg", "old.jpg"]
    form.record(call, {"recent": "0", "text": "the newest"})
    assert call.text_of("photo", "file_name") == "new.jpg"


def test_what_is_no_picture_is_refused(call: CallDesk, tmp_path: Path) -> None:
    """A text named .jpg, and a file that is not there: told, nothing recorded."""
    (tmp_path / "x.jpg").write_text("no picture")
    for name, words in (("x.jpg", "no picture"), ("none.jpg", "No such file")):
        with pytest.raises(UsageError, match=words):
            photo_form(call).record(call, {"file": str(tmp_path / name)})
    assert call.state.of(PhotoTaken) == ()


def test_a_picture_of_too_many_pixels_is_refused_and_a_large_photo_read_smaller(tmp_path: Path) -> None:
    """40 million pixels: as PNG refused before they are unpacked, as JPEG read at a part of its size."""
    from PIL import Image

    large = Image.new("L", (8000, 5000))
    large.save(tmp_path / "large.png")
    large.save(tmp_path / "large.jpg")
    with pytest.raises(UsageError, match="30 million pixels"):
        photos._small((tmp_path / "large.png").read_bytes(), tmp_path / "large.png")
    with Image.open(io.BytesIO(photos._small((tmp_path / "large.jpg").read_bytes(), tmp_path / "large.jpg"))) as kept:
        assert (1600, 1000) == kept.size
