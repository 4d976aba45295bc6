"""Files that are there whole or not at all."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

from trainer.errors import ShareError


@contextlib.contextmanager
def whole_file(target: Path) -> Iterator[Path]:
    """Give a name beside ``target`` to write to; it takes the target's name at a good end.

    Raises ShareError when it cannot be written.
    """
    half = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        yield half
        os.replace(half, target)
    except OSError as error:
        raise ShareError(
            f"{target} could not be written ({error.strerror or error}). A folder that can be "
            "written, on a disk with space, was wanted. Give another one to --out."
        ) from None
    finally:
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)


@contextlib.contextmanager
def whole_text(target: Path) -> Iterator[TextIO]:
    """As ``whole_file``, open for text in UTF-8 whose line ends are written as they are given."""
    with whole_file(target) as half, half.open("w", encoding="utf-8", newline="") as text:
        yield text
