"""Same inputs, same bytes: other threads, time zone, locale and hash seed change nothing."""

from pathlib import Path
from typing import Any

from pipeline.manifest import output_fingerprints

OTHER = {
    "POLARS_MAX_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "PYTHONHASHSEED": "4321",
    "TZ": "Pacific/Chatham",
    "LC_ALL": "C.UTF-8",
    "LANG": "tr_TR.UTF-8",
}


def test_a_second_run_elsewhere_gives_the_same_bytes(
    demo_run: Any, run_sulca: Any, tmp_path: Path
) -> None:
    """All outputs but run.json and study.duckdb."""
    folder = tmp_path / "another-name"
    done = run_sulca("demo", str(folder), env=OTHER)
    assert done.returncode == 0, done.stderr
    first, second = output_fingerprints(demo_run.out), output_fingerprints(folder / "out")
    assert len(first) > 50
    different = sorted(name for name in {*first, *second} if first.get(name) != second.get(name))
    assert not different
