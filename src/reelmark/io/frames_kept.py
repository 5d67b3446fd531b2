"""Pictures kept of what was found: crops and thumbnails as PNG, each with its checksum, in a folder of their own."""

import re
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from reelmark.errors import Problem

__all__ = ["KeptPicture", "keep_picture"]


@dataclass(frozen=True, slots=True)
class KeptPicture:
    """file, thumb : names in the folder;  sha256 : hex, of the crop's file"""

    file: str
    thumb: str
    sha256: str


def keep_picture(folder: Path, name: str, png: bytes, thumb: bytes) -> KeptPicture:
    """Write both; the same bytes may be written again, other bytes under a name that is there are refused."""
    plain = re.sub(r"[^A-Za-z0-9._-]+", "_", name)[:120] or "found"
    (folder / "thumbs").mkdir(parents=True, exist_ok=True)
    for path, data in ((folder / f"{plain}.png", png), (folder / "thumbs" / f"{plain}.png", thumb)):
        if path.exists() and path.read_bytes() != data:
            raise Problem(f"keep {path}", "another picture of that name is there", "give an empty folder")
        path.write_bytes(data)
    return KeptPicture(f"{plain}.png", f"thumbs/{plain}.png", sha256(png).hexdigest())
