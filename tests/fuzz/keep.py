"""Takes over into the repository what of a grown corpus is needed to go all the ways it goes, the smallest inputs first."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from hashlib import sha256
from pathlib import Path
from typing import Final

from tests.fuzz.fuzzing import ROOT
from tests.fuzz.target import CORPUS, find

MOST_BYTES: Final = 10_000
"""For a target; what was put there by hand comes on top."""
MOST: Final = 60
HASHED: Final = 12


def take_over(target: str, grown: Path) -> str:
    """Renew what was taken over before; inputs with a name of their own stay. Says in a sentence what was kept."""
    folder = CORPUS / target
    folder.mkdir(parents=True, exist_ok=True)
    seeds = {sha256(data).digest() for data in find(target).seeds()}
    with tempfile.TemporaryDirectory() as place:
        needed = Path(place) / "needed"
        needed.mkdir()
        command = [sys.executable, "-m", "tests.fuzz.child", target, "--inputs", "0", "--merge"]
        command += ["--corpus", str(needed), "--found", place, "--result", f"{place}/result.json"]
        command += ["--more", str(grown), str(folder)]
        subprocess.run(command, cwd=ROOT, stdin=subprocess.DEVNULL, capture_output=True, check=True)
        for path in folder.iterdir():
            if _is_ours(path):
                path.unlink()
        count = size = 0
        for path in sorted(needed.iterdir(), key=lambda one: (one.stat().st_size, one.name)):
            data = path.read_bytes()
            if sha256(data).digest() in seeds:
                continue
            count, size = count + 1, size + len(data)
            if count > MOST or size > MOST_BYTES:
                break
            shutil.copy(path, folder / sha256(data).hexdigest()[:HASHED])
    return f"{target}: {len(list(folder.iterdir()))} inputs are kept"


def _is_ours(path: Path) -> bool:
    return len(path.name) == HASHED and set(path.name) <= set("0123456789abcdef")
