"""One picture file as grey of 8 bits: TIFF (raw, zstd, deflate, LZW), PNG, JPEG; told by its first bytes.

What is no such picture is refused with the reason.  16 bits and colour are converted, and a note says so.
"""

import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import Problem
from reelmark.frames import Picture

__all__ = ["ENDINGS", "bits_of", "read_picture"]

ENDINGS: Final = {".tif", ".tiff", ".png", ".jpg", ".jpeg"}
TIFF: Final = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
PNG: Final = b"\x89PNG\r\n\x1a\n"
JPEG: Final = b"\xff\xd8\xff"
MOST_PIXELS: Final = 400_000_000  # a header can claim more than any camera has: no memory is given for it
MOST_BYTES: Final = 2 << 30
GREY: Final = (0.299, 0.587, 0.114)  # of red, green, blue: ITU-R BT.601, from memory
ADVICE: Final = "write 8-bit grey, as raw or zstd TIFF or as PNG"


def read_picture(path: Path, bits: int = 16) -> tuple[Picture, tuple[str, ...]]:
    """(grey, rows along and columns across; notes of what was converted); Problem where it is no picture.

    bits : that a picture of 16 uses, so that full light becomes 255
    """
    kind = _kind(path)
    try:
        raw = _tiff(path) if kind == "TIFF" else _other(path, kind)
    except (Problem, KeyboardInterrupt):
        raise
    except Exception as error:  # decoders raise what they like on broken bytes
        true = f"it does not decode: {str(error).splitlines()[0][:120] if str(error) else type(error).__name__}"
        raise Problem(f"truncated or broken picture {path.name}", true, ADVICE) from error
    return _grey(raw, path.name, bits)


def bits_of(paths: Sequence[Path]) -> int:
    """How many bits a camera of more than eight uses, by the lightest of some pictures: 10, 12, 14 or 16.

    One answer for the whole folder: told picture by picture, a dark one would be made light.
    """
    most = 0
    for path in paths:
        try:
            raw = _tiff(path) if _kind(path) == "TIFF" else _other(path, _kind(path))
        except Exception:  # noqa: S112  what does not read is booked when its turn comes
            continue
        if raw.dtype != np.uint16:
            break
        most = max(most, int(raw.max()))
    return next((bits for bits in (10, 12, 14) if most < 1 << bits), 16) if most else 16


def _kind(path: Path) -> str:
    """TIFF, PNG or JPEG."""
    if not path.is_file():
        raise Problem(f"no picture {path.name}", "there is no such file", "look whether it was copied")
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(8)
    except OSError as error:
        raise Problem(f"unreadable picture {path.name}", str(error), "look at its rights") from error
    if size > MOST_BYTES:
        raise Problem(f"too large a picture {path.name}", f"it has {size:,} bytes", ADVICE)
    kind = "TIFF" if head[:4] in TIFF else "PNG" if head == PNG else "JPEG" if head[:3] == JPEG else ""
    if not kind:
        raise Problem(f"no picture in {path.name}", f"it begins with {head!r}" if head else "it is empty", ADVICE)
    return kind


def _tiff(path: Path) -> NDArray[Any]:
    import tifffile

    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        _room(page.size, path)
        raw = page.asarray()
        return ~raw if getattr(page, "photometric", None) == 0 and raw.dtype.kind == "u" else raw


def _other(path: Path, kind: str) -> NDArray[Any]:
    import cv2

    data = np.frombuffer(path.read_bytes(), np.uint8)
    tail = data[-64:].tobytes()
    if kind == "PNG":
        size = data[16:24].view(">u4") if data.size > 24 else np.zeros(2)
        _room(int(size[0]) * int(size[1]), path)
        _whole(data.tobytes(), path)
    elif b"\xff\xd9" not in tail:
        raise Problem(f"truncated picture {path.name}", "its end is not there", "copy it again")
    raw = cv2.imdecode(data, cv2.IMREAD_UNCHANGED)
    if raw is None:
        raise Problem(f"broken picture {path.name}", f"it begins as {kind} and does not decode", "copy it again")
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
    raise Problem(
        f"truncated picture {path.name}", f"it ends after {len(data):,} bytes, in mid-picture", "copy it again"
    )


def _room(pixels: int, path: Path) -> None:
    if not 0 < pixels <= MOST_PIXELS:
        raise Problem(f"picture {path.name}", f"it claims {pixels:,} pixels", f"{ADVICE}, of a camera's size")


def _grey(raw: NDArray[Any], name: str, bits: int) -> tuple[Picture, tuple[str, ...]]:
    """Grey of 8 bits, and what was done."""
    notes = []
    if raw.ndim == 3 and raw.shape[2] in (2, 3, 4):
        notes.append("colour was made grey")
        raw = raw[..., 0] if raw.shape[2] == 2 else raw[..., :3] @ np.array(GREY, np.float32)
        raw = np.rint(raw).astype(np.uint16 if raw.max(initial=0) > 255 else np.uint8)
    if raw.ndim != 2:
        raise Problem(f"picture {name}", f"its shape is {raw.shape}", ADVICE)
    if raw.dtype == np.uint16:
        notes.append(f"16-bit picture made 8-bit: light of {bits} bits was taken for full")
        return np.minimum(raw >> (bits - 8), 255).astype(np.uint8), tuple(notes)
    if raw.dtype == np.bool_:
        raw = raw.astype(np.uint8) * 255
    if raw.dtype != np.uint8:
        raise Problem(f"picture {name}", f"its pixels are {raw.dtype}", ADVICE)
    return np.ascontiguousarray(raw), tuple(notes)
