from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

from monitor.archive import Choice, bring_back, write_out
from monitor.core.model import Reading
from monitor.store import Store, integrity
from tests.adapters.archive.filled import T0, files, fill

ROOT = Path(__file__).parents[3]
PATIENCE_S = 60.0

STOPS = """
import sys
from pathlib import Path
from monitor.archive import Choice, bring_back, write_out

def stop(done, total):
    if float(sys.argv[3]) * total <= done < total:
        print(done, flush=True)
        sys.stdin.readline()

"""
BRING = f"{STOPS}bring_back(Path(sys.argv[1]), Path(sys.argv[2]), stop)"
WRITE = f"{STOPS}write_out(Path(sys.argv[1]), Path(sys.argv[2]), Choice(), stop)"


def killed_in_the_middle(script: str, *arguments: object) -> None:
    """Start the script, and kill it when it says that it has come so far."""
    command = [sys.executable, "-c", script, *map(str, arguments)]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, env={**os.environ, "PYTHONPATH": str(ROOT)}, stdin=pipe, stdout=pipe) as child:
        assert child.stdout is not None
        assert int(child.stdout.readline()) > 0
        child.send_signal(signal.SIGKILL)
        assert child.wait(PATIENCE_S) == -signal.SIGKILL


def test_a_killed_import_leaves_no_store_and_a_killed_export_no_archive(tmp_path: Path) -> None:
    """Killed in the middle, neither leaves anything under the name that was asked for; the next try succeeds."""
    first, second, archive = tmp_path / "first.sqlite3", tmp_path / "second.sqlite3", tmp_path / "one"
    with Store.open(first, now=T0) as store:
        many = (Reading("birch-water", T0 + n * 1_000, 24_000 + n % 999, arrived=T0) for n in range(12_000))
        fill(store, many, rolled_up=False)
    killed_in_the_middle(WRITE, first, archive, 0.5)
    assert (tmp_path / ".one.part/readings/2026-02.csv").exists(), "it had not begun"
    assert not archive.exists()
    write_out(first, archive, Choice())
    killed_in_the_middle(BRING, archive, second, 0.75)
    assert (tmp_path / "second.sqlite3.import/second.sqlite3").exists(), "it had not begun"
    assert not second.exists()
    bring_back(archive, second)
    assert integrity(second) == []
    write_out(second, tmp_path / "two", Choice())
    assert files(archive) == files(tmp_path / "two")
    assert not (tmp_path / ".one.part").exists()
    left = {path.name for path in tmp_path.iterdir() if path.name.startswith("second")}
    assert left <= {"second.sqlite3", "second.sqlite3.lock", "second.sqlite3-shm", "second.sqlite3-wal"}
