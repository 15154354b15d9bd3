"""One clinic from its files to checked Parquet, timed by stage; run as a process of its own."""

import json
import resource
import sys
import time
from pathlib import Path

from pipeline.check import Checked, check
from pipeline.intake.study_intake import read_clinic
from pipeline.written_ahead import written_ahead
from schemas.codebook import read_codebook
from shared.files import write_tables


def write_rows(checked: Checked, out: Path) -> None:
    """Write accepted rows, and what is told of the others."""
    told = {name: getattr(checked, name) for name in ("findings", "stopped", "holds")}
    write_tables(out, {**checked.tables, **told})


def main(study: Path) -> None:
    """Run the stages and print their seconds, peak memory and counts as JSON."""
    codebook = read_codebook()
    begun = time.process_time()
    start = time.perf_counter()
    with written_ahead(study) as ahead:
        mapped = read_clinic(study, "north", codebook)
        read = time.perf_counter()
        ahead.write(mapped.tables, mapped.missing)
        checked = check(mapped, codebook)
        done = time.perf_counter()
        write_rows(checked, study / "out" / "tables")
        ahead.put(study / "out")
    end = time.perf_counter()
    by_rule = checked.findings.group_by("rule").len().sort("rule").rows()
    usage = resource.getrusage(resource.RUSAGE_SELF)
    print(json.dumps({  # noqa: T201 - the parent reads this line
        "read and map": read - start, "check": done - read, "write": end - done,
        "all": end - start,
        "cpu": usage.ru_utime + usage.ru_stime - begun,
        "peak_gib": usage.ru_maxrss / 2**20,
        "stifles": checked.tables["stifles"].height,
        "rechecks": checked.tables["rechecks"].height,
        "findings": dict(by_rule),
        "ledger": checked.ledger.to_dicts(),
    }))  # fmt: skip


if __name__ == "__main__":
    main(Path(sys.argv[1]))
