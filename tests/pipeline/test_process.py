"""What a process is told before its libraries are loaded."""

import os
import subprocess
import sys

import pytest

from pipeline.process import MEMORY_KEPT

TOLD = (
    "import os, sys; import pipeline.cli;"
    " print(os.environ['OPENBLAS_NUM_THREADS'], os.environ['_RJEM_MALLOC_CONF'],"
    " *({'numpy', 'polars', 'duckdb'} & set(sys.modules)))"
)


@pytest.mark.parametrize(("own", "holds"), [({}, MEMORY_KEPT),
                                            ({"_RJEM_MALLOC_CONF": "narenas:1"}, "narenas:1")]
                         )  # fmt: skip
def test_memory_is_kept_and_algebra_is_single_before_libraries_load(
    own: dict[str, str], holds: str
) -> None:
    plain = {name: text for name, text in os.environ.items() if name != "_RJEM_MALLOC_CONF"}
    done = subprocess.run(
        [sys.executable, "-c", TOLD], env={**plain, "OPENBLAS_NUM_THREADS": "2", **own},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.split() == ["1", holds]
