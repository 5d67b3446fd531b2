"""One picture file as grey of 8 bits: TIFF (raw, zstd, deflate, LZW), PNG, JPEG; told by its first bytes.

What is no such picture is refused with the reason; whoever asked knows the file, so that like reasons read alike.
16 bits and colour are converted, and a note says so.
"""

import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import Problem
from reelmark.frames import Picture

__all__ = ["ENDINGS", "bits_of", "no_file", "read_picture"]

ENDINGS: Final = {".tif", ".tiff", ".png", ".jpg", ".jpeg"}
TIFF: Final = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
PNG: Final = b"\x89PNG\r\n\x1a\n"
JPEG: Final = b"\xff\xd8\xff"
WHITE_IS_ZERO, PALETTE = 0, 3
KNOWN: Final = (0, 1, 2, PALETTE, 6)  # white or black is 0, RGB, palette, YCbCr: TIFF 6.0, section 8, from memory
MOST_PIXELS: Final = 400_000_000  # a header can claim more than any camera has: no memory is given for it
MOST_BYTES: Final = 2 << 30
GREY: Final = (0.299, 0.587, 0.114)  # of red, green, blue: ITU-R BT.601, from memory
ADVICE: Final = "write 8-bit grey, as raw or zstd TIFF or as PNG"


def read_picture(path: Path, bits: int = 16) -> tuple[Picture, tuple[str, ...]]:
    """(grey, rows along and columns across; notes of what was converted); Problem where it is no picture.

    bits : that a picture of 16 uses, so that full light becomes 255
    """
    kind, notes = _kind(path), list[str]()
    try:
        raw = _tiff(path, notes) if kind == "TIFF" else _other(path, kind)
    except (Problem, KeyboardInterrupt):
        raise
    except Exception as error:  # decoders raise what they like on broken bytes
        true = f"it does not decode: {str(error).splitlines()[0][:120] if str(error) else type(error).__name__}"
        raise Problem("truncated or broken picture", true, ADVICE) from error
    grey, more = _grey(raw, bits)
    return grey, (*notes, *more)


def bits_of(paths: Sequence[Path]) -> int:
    """How many bits a camera of more than eight uses, by the lightest of some pictures: 10, 12, 14 or 16.

    One answer for the whole folder: told picture by picture, a dark one would be made light.
    """
    most = 0
    for path in paths:
        try:
            raw = _tiff(path, []) if _kind(path) == "TIFF" else _other(path, _kind(path))
        except Exception:  # noqa: S112  what does not read is booked when its turn comes
            continue
        if raw.dtype != np.uint16:
            break
        most = max(most, int(raw.max()))
    return next((bits for bits in (10, 12, 14) if most < 1 << bits), 16) if most else 16


def no_file() -> Problem:
    """What a picture is that is not there."""
    return Problem("no picture", "there is no such file", "look whether it was copied")


def _kind(path: Path) -> str:
    """TIFF, PNG or JPEG."""
    if not path.is_file():
        raise _no_plain(path)
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(8)
    except OSError as error:
        raise Problem("unreadable picture", str(error), "look at its rights") from error
    if size > MOST_BYTES:
        raise Problem("too large a picture", f"it has {size:,} bytes", ADVICE)
    kind = "TIFF" if head[:4] in TIFF else "PNG" if head == PNG else "JPEG" if head[:3] == JPEG else ""
    if not kind:
        raise Problem("no picture", f"it begins with {head!r}" if head else "it is empty", ADVICE)
    return kind


def _no_plain(path: Path) -> Problem:
    """Why the path is no file that can be read."""
    if path.is_symlink():
        return Problem("no picture", "it is a link that leads to no file", "give the picture itself")
    if path.exists():
        what = "a folder" if path.is_dir() else "no plain file"
        return Problem("no picture", f"it is {what}", "give the picture itself")
    return no_file()


def _tiff(path: Path, notes: list[str]) -> NDArray[Any]:
    import tifffile

    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        _room(page.size, path)
        kind = getattr(page, "photometric", None)
        if kind not in KNOWN:
            told = getattr(kind, "name", str(kind)).lower()
            raise Problem("picture", f"its colours are told as {told}", ADVICE)
        if len(file.pages) > 1:
            notes.append("of a file of several pages the first is read")
        raw = page.asarray()
        if kind == PALETTE:
            colours: NDArray[np.uint16] = np.asarray(getattr(page, "colormap", None), np.uint16)
            return np.asarray((colours >> 8).astype(np.uint8).T[raw])
        if getattr(page, "planarconfig", 1) == 2 and raw.ndim == 3:
            raw = np.moveaxis(raw, 0, -1)
        return ~raw if kind == WHITE_IS_ZERO and raw.dtype.kind in "ub" else raw


def _other(path: Path, kind: str) -> NDArray[Any]:
    import cv2

    data = np.frombuffer(path.read_bytes(), np.uint8)
    if kind == "PNG":
        size = data[16:24].view(">u4") if data.size > 24 else np.zeros(2)
        _room(int(size[0]) * int(size[1]), path)
        _whole(data.tobytes(), path)
    elif b"\xff\xd9" not in data[-64:].tobytes():
        raise Problem("truncated picture", "its end is not there", "copy it again")
    else:
        _room(_jpeg_pixels(data.tobytes()), path)
    raw = cv2.imdecode(data, cv2.IMREAD_UNCHANGED)
    if raw is None:
        raise Problem("broken picture", f"it begins as {kind} and does not decode", "copy it again")
    return raw[..., 2::-1] if raw.ndim == 3 else raw


def _whole(data: bytes, path: Path) -> None:
    """The PNG's chunks to its end, header and end checked: the decoder fills a missing end with black, or grey."""
    at = 8
    while at + 12 <= len(data):
        length, name = int.from_bytes(data[at : at + 4]), data[at + 4 : at + 8]
        if name in (b"IHDR", b"IEND") and zlib.crc32(data[at + 4 : at + 8 + length]) != int.from_bytes(
            data[at + 8 + length : at + 12 + length]
        ):
            break
        if name == b"IEND":
            return
        at += 12 + length
    raise Problem("truncated picture", f"it ends after {len(data):,} bytes, in mid-picture", "copy it again")


def _jpeg_pixels(data: bytes) -> int:
    """What the JPEG's header claims; 0 where it claims nothing.  Frame headers: ITU-T T.81, B.2.2, from memory."""
    at = 2
    while at + 9 <= len(data) and data[at] == 0xFF:
        if 0xC0 <= data[at + 1] <= 0xCF and data[at + 1] not in (0xC4, 0xC8, 0xCC):
            return int.from_bytes(data[at + 5 : at + 7]) * int.from_bytes(data[at + 7 : at + 9])
        at += 2 + int.from_bytes(data[at + 2 : at + 4])
    return 0


def _room(pixels: int, path: Path) -> None:
    if not 0 < pixels <= MOST_PIXELS:
        raise Problem("picture", f"it claims {pixels:,} pixels", f"{ADVICE}, of a camera's size")


def _grey(raw: NDArray[Any], bits: int) -> tuple[Picture, tuple[str, ...]]:
    """Grey of 8 bits, and what was done."""
    notes = []
    if raw.ndim == 3 and raw.shape[2] in (2, 3, 4):
        notes.append("colour was made grey")
        raw = raw[..., 0] if raw.shape[2] == 2 else raw[..., :3] @ np.array(GREY, np.float32)
        raw = np.rint(raw).astype(np.uint16 if raw.max(initial=0) > 255 else np.uint8)
    if raw.ndim != 2:
        raise Problem("picture", f"its shape is {raw.shape}", ADVICE)
    if raw.dtype == np.uint16:
        notes.append(f"16-bit picture made 8-bit: light of {bits} bits was taken for full")
        return np.minimum(raw >> (bits - 8), 255).astype(np.uint8), tuple(notes)
    if raw.dtype == np.bool_:
        raw = raw.astype(np.uint8) * 255
    if raw.dtype != np.uint8:
        raise Problem("picture", f"its pixels are {raw.dtype}", ADVICE)
    return np.ascontiguousarray(raw), tuple(notes)
