"""Photos of a call: picked from a folder by time, kept small and without place data, known by their hash."""

from __future__ import annotations

import hashlib
import io
import re
import warnings
from pathlib import Path

from diag.call.desk import CallDesk
from diag.errors import UsageError
from diag.files import write_whole
from diag.record.graph import Event
from diag.text import one_line

KINDS = (".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".bmp")
LONGEST_SIDE = 1600
"""Pixels of a kept picture: enough to read a ruler, small enough to send."""
MOST_BYTES = 60_000_000
MOST_PIXELS = 30_000_000
"""Pixels that are held at once: what takes about 200 MB."""
SETTING = "photo_folder"


def folder_of(call: CallDesk) -> Path | None:
    """Return where the call's pictures are kept, None without a store."""
    return call.desk.store.photo_folder(call.call) if call.desk.store else None


def newest(folder: Path, most: int = 12) -> list[Path]:
    """Return the newest pictures of a folder, newest first; [] when it cannot be read."""
    try:
        found = [(p.stat().st_mtime, p.name, p) for p in folder.iterdir() if p.suffix.lower() in KINDS and p.is_file()]
    except OSError:
        return []
    return [p for _, _, p in sorted(found, reverse=True)[:most]]


def take(call: CallDesk, path: Path, text: str = "") -> Event:
    """Keep a small copy of a picture and record it with its hash. Raises UsageError with the remedy.

    Without a store nothing is copied: the hash is that of the file itself.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise UsageError("That file is too large for a photo.", str(path), "Take it smaller.")
        raw = path.read_bytes()
    except OSError as error:
        what = f"The file cannot be read ({error.strerror})."
        raise UsageError(what, str(path), "Name another, or copy it.") from None
    folder = folder_of(call)
    kept = raw if folder is None else _small(raw, path)
    digest = hashlib.sha256(kept).hexdigest()
    if folder is not None:
        _write(folder / kept_name(digest), kept)
    answers = call.state.answers
    body = {"sha256": digest, "about": answers[-1].event if answers else None}
    return call.record("photo", body, {"file_name": one_line(path.name, limit=200), "text": text})


def kept_name(digest: str) -> str:
    """Return the file name of a kept picture: from its hash, never from what somebody typed."""
    return f"{re.sub(r'[^0-9a-f]', '', digest)[:16]}.jpg"


def _small(raw: bytes, path: Path) -> bytes:
    """Return a picture as JPEG without any of its data on place, time or camera."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            opened = Image.open(io.BytesIO(raw))
        opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # a JPEG is read smaller at once
        if opened.width * opened.height > MOST_PIXELS:
            what = f"That picture has more than {MOST_PIXELS // 1_000_000} million pixels."
            raise UsageError(what, str(path), "Save it smaller, or as JPEG.")
        image = ImageOps.exif_transpose(opened).convert("RGB")
    except (UnidentifiedImageError, OSError, ValueError, Image.DecompressionBombError):
        raise UsageError("That is no picture that can be read.", str(path), "Take a JPEG or PNG.") from None
    image.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    plain = Image.new("RGB", image.size)
    plain.paste(image)
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=85)
    return out.getvalue()


def _write(path: Path, data: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, data)
    except OSError as error:
        what = f"The picture cannot be kept ({error.strerror})."
        raise UsageError(what, str(path), "Make room, then again.") from None


def kept_photos(call: CallDesk) -> dict[str, bytes]:
    """Return the kept copies of a call's photos by their hash, as far as they are there and unchanged."""
    folder = folder_of(call)
    found: dict[str, bytes] = {}
    for step in call.state.trail:
        if folder is not None and step.live and step.kind == "photo" and _whole(folder, step.body["sha256"]):
            found[step.body["sha256"]] = (folder / kept_name(step.body["sha256"])).read_bytes()
    return found


def missing(call: CallDesk) -> list[str]:
    """Return the file names of photos whose kept picture is gone or was changed."""
    folder = folder_of(call)
    if folder is None:
        return []
    personal, lost = call.personal, []
    for step in call.state.trail:
        if step.live and step.kind == "photo" and not _whole(folder, step.body["sha256"]):
            lost.append(personal.get(step.event, {}).get("file_name", kept_name(step.body["sha256"])))
    return lost


def _whole(folder: Path, digest: str) -> bool:
    try:
        return hashlib.sha256((folder / kept_name(digest)).read_bytes()).hexdigest() == digest
    except OSError:
        return False
